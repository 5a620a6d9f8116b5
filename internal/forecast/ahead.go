package forecast

import (
	"fmt"
	"math"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/place"
)

// What a document has to cover to take the place of the forecast held
// (judgement).
const (
	// MainAhead is how far from now on a main product must reach: the days that a
	// pour needs to set and to be kept from frost.
	MainAhead = 72 * time.Hour
	// ShortAhead is the same of a short-range product.
	ShortAhead = 2 * time.Hour
	// mostUnknown hours of MainAhead may lack a value; the morning then counts
	// them as unknown. The first step of a feed may lie after the hour at hand.
	mostUnknown = 6
	// runsAhead is how far ahead a provider's clock may be.
	runsAhead = time.Hour
	// mostAway is how far from the place asked for the place of the document may lie, in
	// km. The grids of global models have cells of up to 50 km, and a provider may
	// answer with the next cell on land.
	mostAway = 100.0
)

// CheckAhead returns nil when a forecast can take the place of the one held,
// else fault.Invalid that says why not: it is for another place, does not
// cover the hours from now to now + MainAhead in air temperature and in rain
// (by amount or chance), was issued more than a day ago, or lies in the future.
func (f *Forecast) CheckAhead(now time.Time) error {
	var bad fault.List
	f.checkPlace(&bad)
	f.checkIssued(&bad, now)
	hours := int(MainAhead / time.Hour)
	from := now.UTC().Truncate(time.Hour)
	air, rain := 0, 0
	for i := range f.Hours {
		h := &f.Hours[i]
		if h.Start.Before(from) || !h.Start.Before(from.Add(MainAhead)) {
			continue
		}
		if h.Get(AirC).Known {
			air++
		}
		if h.Get(RainMM).Known || h.Get(RainChance).Known {
			rain++
		}
	}
	rule := fmt.Sprintf(
		"must be known in %d or more of the %d hours from %s on",
		hours-mostUnknown,
		hours,
		from.Format(time.RFC3339),
	)
	for _, c := range []struct {
		name  string
		known int
	}{{AirC.String(), air}, {RainMM.String() + " or " + RainChance.String(), rain}} {
		if c.known < hours-mostUnknown {
			bad.Add(c.name, fmt.Sprintf("known in %d, the document's hours being %s", c.known, f.span()), rule)
		}
	}
	return bad.Err(f.feed() + ": the document does not serve the days ahead")
}

// CheckEnsemble returns nil when members, whose series count hours from start,
// can stand beside a forecast of a cell, else fault.Invalid that says why not:
// they are of another place, or do not cover the rain of the hours from now to
// now + MainAhead.
func CheckEnsemble(feed string, cell place.Cell, told *place.Cell, start time.Time, members []Member,
	now time.Time) error {
	var bad fault.List
	checkPlace(&bad, cell, told)
	hours, known := int(MainAhead/time.Hour), 0
	first := int(now.UTC().Truncate(time.Hour).Sub(start) / time.Hour)
	for h := first; h < first+hours; h++ {
		for i := range members {
			if rain := members[i].Values[RainMM]; h >= 0 && h < len(rain) && !math.IsNaN(rain[h]) {
				known++
				break
			}
		}
	}
	if known < hours-mostUnknown {
		bad.Add("members."+RainMM.String(), fmt.Sprintf("known in %d, from %s on", known, start.Format(time.RFC3339)),
			fmt.Sprintf("must be known in %d or more of the %d hours from %s on", hours-mostUnknown, hours,
				now.UTC().Truncate(time.Hour).Format(time.RFC3339)))
	}
	return bad.Err(feed + ": the ensemble does not serve the days ahead")
}

// CheckOrigin returns nil when what fills the gaps of a forecast is of its place
// and not of another time, else fault.Invalid: it was issued more than a day ago
// or lies in the future. How far it reaches does not matter.
func (f *Forecast) CheckOrigin(now time.Time) error {
	var bad fault.List
	f.checkPlace(&bad)
	f.checkIssued(&bad, now)
	return bad.Err(f.feed() + ": the document is of another place or time")
}

func (f *Forecast) feed() string {
	if len(f.Sources) == 0 {
		return "forecast"
	}
	return f.Sources[0].Feed
}

// span says from when to when the document's hours reach.
func (f *Forecast) span() string {
	if len(f.Hours) == 0 {
		return "none"
	}
	last := f.Hours[len(f.Hours)-1].Start.Add(time.Hour)
	return f.Hours[0].Start.Format(time.RFC3339) + " to " + last.Format(time.RFC3339)
}

func (f *Forecast) checkPlace(bad *fault.List) {
	checkPlace(bad, f.Cell, f.Place)
}

func checkPlace(bad *fault.List, asked place.Cell, told *place.Cell) {
	if told == nil {
		return
	}
	if away := kmBetween(asked, *told); !(away <= mostAway) {
		bad.Add("place", fmt.Sprintf("%.4f, %.4f, %.0f km away", told.Latitude, told.Longitude, away),
			fmt.Sprintf("must be within %g km of %.4f, %.4f", mostAway, asked.Latitude, asked.Longitude))
	}
}

func (f *Forecast) checkIssued(bad *fault.List, now time.Time) {
	if len(f.Sources) == 0 || f.Sources[0].IssuedAt == nil {
		return
	}
	checkIssued(bad, *f.Sources[0].IssuedAt, now, OldAfter)
}

func checkIssued(bad *fault.List, issued, now time.Time, oldest time.Duration) {
	switch age := now.Sub(issued); {
	case age > oldest:
		bad.Add(
			"issued_at",
			issued.Format(time.RFC3339),
			fmt.Sprintf("must be within %v before %s", oldest, now.UTC().Format(time.RFC3339)),
		)
	case age < -runsAhead:
		bad.Add("issued_at", issued.Format(time.RFC3339), "must not be after "+now.UTC().Format(time.RFC3339))
	}
}

// kmBetween is the great-circle distance of two places, by the haversine
// formula on a sphere of 6371 km.
func kmBetween(a, b place.Cell) float64 {
	const radius, rad = 6371.0, math.Pi / 180
	sin2 := func(x float64) float64 { s := math.Sin(x * rad / 2); return s * s }
	h := sin2(b.Latitude-a.Latitude) + math.Cos(a.Latitude*rad)*math.Cos(b.Latitude*rad)*sin2(b.Longitude-a.Longitude)
	return 2 * radius * math.Asin(math.Min(1, math.Sqrt(h)))
}
