// Package replay owns invented sample weather, for demonstrations without any
// provider. It is dated from the day on which it is asked for, and the same
// cell on the same day always gets the same weather: two days behind, and
// sixteen ahead with showers, a day of rain, a cold night and fine days, at the
// temperatures that the latitude and the season suggest.
//
//	fc, err := replay.Feed{}.Fetch(ctx, cell, "", now)
package replay

import (
	"context"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// Name is the feed's name in DRYSLOT_FEEDS and in every answer.
const Name = "replay"

// Attribution is shown with whatever shows this weather.
const Attribution = "sample weather, not for real pours"

// Feed invents weather. It asks nobody.
type Feed struct{}

// Name returns the feed's name.
func (Feed) Name() string { return Name }

// The days of the story, counted from today.
const (
	firstDay = -2
	lastDay  = 15
)

// Fetch returns the sample weather of a cell as of now. Its days are those of
// the sun's clock at the cell's longitude, within an hour or two of any zone's.
func (Feed) Fetch(ctx context.Context, cell place.Cell, _ string, now time.Time) (forecast.Forecast, error) {
	if err := ctx.Err(); err != nil {
		return forecast.Forecast{}, err
	}
	offset := time.Duration(math.Round(cell.Longitude/15)) * time.Hour
	sun := time.FixedZone("sun", int(offset/time.Second))
	today := unit.DateOf(now, sun)
	first := today.AddDays(firstDay).At(0, sun)
	src := forecast.Source{Feed: Name, FetchedAt: now, Attribution: Attribution}
	wet := forecast.WetEvent{OverMM: 0.1, Period: time.Hour}
	d, err := forecast.NewDraft(cell, src, wet, first, (lastDay-firstDay+1)*24)
	if err != nil {
		return forecast.Forecast{}, err
	}
	days := make([]day, len(story))
	for i := range days {
		lead := firstDay + i
		days[i] = newDay(cell, today.AddDays(lead), story[i], lead)
	}
	for i := range days {
		tell(d, days, i)
	}
	return d.Done()
}

// day is one invented day.
type day struct {
	kind  kind
	lead  int
	mean  float64 // C
	swing float64 // K, half the day's range
	dew   float64 // C
	rand  *rand.Rand
}

// newDay makes the day of a date: its temperatures follow from latitude and
// season, and vary from date to date by a hash of cell and date.
func newDay(cell place.Cell, date unit.Date, k kind, lead int) day {
	h := fnv.New64a()
	h.Write([]byte(cell.Key() + date.String()))
	r := rand.New(rand.NewPCG(h.Sum64(), 0))
	noon := time.Date(date.Year, date.Month, date.Day, 12, 0, 0, 0, time.UTC)
	// An invented climate: warm at the equator, cold at the poles, with the
	// warmest day late in July in the north and late in January in the south.
	sinLat := math.Sin(cell.Latitude * math.Pi / 180)
	year := 2 * math.Pi * float64(noon.YearDay()-203) / 365.25
	season := math.Cos(year)
	if cell.Latitude < 0 {
		season = -season
	}
	mean := 27 - 26*sinLat*sinLat + 15*sinLat*sinLat*season
	// The lower the sun at noon, the less a day warms up.
	declination := 23.44 * math.Cos(year-2*math.Pi*30/365.25)
	height := math.Max(0, 90-math.Abs(cell.Latitude-declination))
	y := day{
		kind:  k,
		lead:  lead,
		mean:  mean + k.warmer + r.NormFloat64(),
		swing: k.swing * (0.3 + 0.7*math.Sin(height*math.Pi/180)),
		rand:  r,
	}
	y.dew = y.mean - y.swing - k.spread
	return y
}
