// Package daylight owns first light, sunrise, sunset, last light and the
// height of the sun, with the three cases of high latitudes. First and last
// light are the limits of civil twilight: the sun's centre 6 degrees below
// the horizon.
//
//	day, err := daylight.Of(date, 60, 0, time.UTC)
package daylight

import (
	"time"

	"dryslot/internal/unit"
)

// Case tells ordinary days from those of high latitudes.
type Case string

// The cases of a day.
const (
	Ordinary  Case = "ordinary"   // the sun rises and sets
	AlwaysUp  Case = "always-up"  // the sun does not set in the night before, after, or both
	NeverUp   Case = "never-up"   // no civil light at all
	CivilOnly Case = "civil-only" // civil light, but no sunrise
)

// Day is the light of one date at one place. Where an instant does not exist
// its time is zero, and Case says why; AllCivil tells that civil light lasts
// through the night before or after, so that first or last light is missing.
// On an Ordinary day sunrise and sunset both exist, to the second; Light gives
// the span of civil light whatever the case.
type Day struct {
	Date       unit.Date
	Case       Case
	AllCivil   bool
	FirstLight time.Time
	Sunrise    time.Time
	Sunset     time.Time
	LastLight  time.Time
}
