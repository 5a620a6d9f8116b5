// Package forecast owns the hours of a forecast as the service believes them,
// their merging and staleness, the scenarios drawn from them, and how far they
// proved true. An hour is [Start, Start+1h) in UTC, whatever the feed's own
// convention was.
//
//	sc := forecast.Draw(fc, forecast.DrawOptions{})
package forecast

import (
	"time"

	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// Variable is one quantity of an hour.
type Variable uint8

// The variables. Rain, RainChance, Gust and Shortwave are those of the whole
// hour [Start, Start+1h); the others hold at Start.
const (
	AirC          Variable = iota // C at 2 m
	HumidityPct                   // 0 to 100, at 2 m
	DewPointC                     // C at 2 m
	WindMS                        // m/s at 10 m, mean
	GustMS                        // m/s at 10 m, the hour's maximum
	CloudPct                      // 0 to 100, all layers
	ShortwaveWM2                  // W/m2 on the level, the hour's mean
	RainMM                        // mm, the hour's sum, snow as water
	RainChance                    // 0 to 1, of the feed's own wet event
	ThunderChance                 // 0 to 1; 1 where the feed's code says thunder
	SnowMM                        // mm of water that falls as snow, within RainMM
	NumVariables
)

// Names are the variables' names in the public contract.
var Names = [NumVariables]string{"air_c", "humidity_pct", "dew_point_c", "wind_m_s", "gust_m_s",
	"cloud_pct", "shortwave_w_m2", "rain_mm", "rain_chance", "thunder_chance", "snow_mm"}

// Hour is one hour of a forecast. An unknown value is unknown, never zero.
type Hour struct {
	Start  time.Time
	Values [NumVariables]unit.Opt
	From   [NumVariables]uint8 // index into Forecast.Sources, where the value is known

	// ChanceHours is the length in hours of the period that RainChance is the
	// chance of, where it is longer than Forecast.Wet.Period; 0: it is not. The
	// chance of the hour itself is at most RainChance.
	ChanceHours uint8
}

// Get returns one value of the hour.
func (h *Hour) Get(v Variable) unit.Opt { return h.Values[v] }

// WetEvent is what a feed's chance of rain is the chance of.
type WetEvent struct {
	OverMM float64       // more than this amount
	Period time.Duration // within this time
}

// Source is one feed's part in a forecast.
type Source struct {
	Feed        string     // open-meteo, met-norway, nws or replay
	IssuedAt    *time.Time // where the document carries it
	FetchedAt   time.Time
	Attribution string
	Past        bool // from an earlier forecast, for hours that lie before this one (Remember)
	// LeftOut names what the document gives in a unit or form that it should not, and
	// that is therefore unknown. Nothing that planning needs is left out.
	LeftOut []string
}

// told returns when the source issued the forecast.
func (s *Source) told() time.Time {
	if s.IssuedAt != nil {
		return *s.IssuedAt
	}
	return s.FetchedAt
}

// Series is one variable of one member, an hour each, aligned with
// Forecast.Hours; NaN is unknown, a nil Series is wholly unknown.
type Series []float64

// Member is one run of an ensemble.
type Member struct {
	Name   string // control, member01, ...
	Values [NumVariables]Series
}

// Forecast is one cell's weather to come, from one feed or merged from
// several. Hours are consecutive, ascending and whole hours of UTC.
type Forecast struct {
	Cell      place.Cell
	Place     *place.Cell // that the document says it is of; nil: it does not say. Not kept
	Sources   []Source    // in order of preference; Sources[0] names the forecast
	Wet       WetEvent    // of RainChance
	Hours     []Hour
	Members   []Member  // empty: one run
	NextFetch time.Time // not before; zero: the service's own rhythm
	Validator string    // Last-Modified or ETag to send back
}

// FetchedAt returns when the first source was fetched.
func (f *Forecast) FetchedAt() time.Time {
	if len(f.Sources) == 0 {
		return time.Time{}
	}
	return f.Sources[0].FetchedAt
}

// AgedFrom returns the instant that age counts from: when the document was
// issued, where it says so, else when it was fetched.
func (f *Forecast) AgedFrom() time.Time {
	if len(f.Sources) > 0 && f.Sources[0].IssuedAt != nil {
		return *f.Sources[0].IssuedAt
	}
	return f.FetchedAt()
}

// ErrNotModified says that the forecast already held is still the newest.
var ErrNotModified = errNotModified{}

// ErrRefusesAll is in the cause of an error where a feed refuses whatever it is
// asked, and not one place: it wants another key or contact, or something else
// answers in its place.
var ErrRefusesAll = errRefusesAll{}

type errRefusesAll struct{}

func (errRefusesAll) Error() string { return "forecast: the feed refuses whatever it is asked" }

type errNotModified struct{}

func (errNotModified) Error() string { return "forecast: not modified" }
