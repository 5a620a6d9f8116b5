package forecast

import (
	"fmt"
	"strconv"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// RadarState is whether a nowcast saw the rain that it moves on.
type RadarState string

// The states of a radar. Where it is not seen, the amounts are unknown.
const (
	RadarOK          RadarState = "ok"
	RadarUnavailable RadarState = "temporarily unavailable"
	RadarNoCoverage  RadarState = "no coverage"
	RadarUnknown     RadarState = "unknown"
	NoRadar          RadarState = "" // the product is none of a radar
)

// ShortRange is a product of the next minutes and hours, in its own steps: it
// corrects the hours of a Forecast and stands in for none.
type ShortRange struct {
	Cell   place.Cell
	Place  *place.Cell // that the document says it is of; nil: it does not say
	Source Source
	Radar  RadarState
	// ChanceOver is the time that a step's chance of rain is the chance within,
	// often longer than the step: such chances are not to be combined.
	ChanceOver time.Duration
	// OldAfter is the age from which the product is of no use; 0: it carries no
	// time of issue.
	OldAfter  time.Duration
	Steps     []ShortStep // ascending; gaps are unknown
	NextFetch time.Time   // not before; zero: the service's own rhythm
}

// ShortStep is [Start, Start+Length) in UTC. An unknown value is unknown, never
// zero. Rain, chance and gust are those of the step, the others hold at Start.
type ShortStep struct {
	Start       time.Time
	Length      time.Duration
	RainMMH     unit.Opt // mm/h, the step's mean
	RainChance  unit.Opt // 0 to 1, within ChanceOver
	AirC        unit.Opt
	HumidityPct unit.Opt
	WindMS      unit.Opt
	GustMS      unit.Opt
}

// MostShortSteps is the most steps of one product: 16 days of quarter hours.
const MostShortSteps = 16 * 24 * 4

// mostRate bounds rain that can be, in mm/h over minutes: more than fell in the
// heaviest quarter hours on record (198 mm in 15 min, World Meteorological
// Organization's list of extremes, from memory).
const mostRate = 1000.0

// shortKnown is how much of ShortAhead must be known. A nowcast of two hours
// has 110 minutes when it is new; its provider's own monitor calls it sound with
// 80 minutes of rates (as published beside it).
const shortKnown = 80 * time.Minute

// Sound returns nil when the steps are in order and every value is possible,
// else fault.Invalid with those that are not.
func (s *ShortRange) Sound() error {
	var bad fault.List
	if n := len(s.Steps); n == 0 || n > MostShortSteps {
		bad.Add("steps", strconv.Itoa(n), fmt.Sprintf("must be 1 to %d", MostShortSteps))
	}
	for i := range s.Steps {
		x := &s.Steps[i]
		name := "steps[" + strconv.Itoa(i) + "]"
		if x.Length <= 0 || i > 0 && x.Start.Before(s.Steps[i-1].Start.Add(s.Steps[i-1].Length)) {
			bad.Add(name, x.Start.Format(time.RFC3339), "must begin after the one before it has ended")
		}
		check := func(what string, v unit.Opt, lo, hi float64) {
			if v.Known && !(v.V >= lo && v.V <= hi) {
				bad.Add(name+"."+what, strconv.FormatFloat(v.V, 'g', -1, 64), fmt.Sprintf("must be between %g and %g",
					lo, hi))
			}
		}
		check("rain_mm_h", x.RainMMH, 0, mostRate)
		for _, c := range []struct {
			v Variable
			x unit.Opt
		}{{RainChance, x.RainChance}, {AirC, x.AirC}, {HumidityPct, x.HumidityPct}, {WindMS, x.WindMS},
			{GustMS, x.GustMS}} {
			lo, hi := c.v.Range()
			check(c.v.String(), c.x, lo, hi)
		}
		if len(bad) > 20 { // a shifted column breaks a rule in every step
			break
		}
	}
	return bad.Err(s.Source.Feed + ": the document holds values that can't be")
}

// CheckAhead returns nil when a product serves the next two hours, else
// fault.Invalid that says why not: it is of another place, too old, of the
// future, or does not know the rain of enough of them.
func (s *ShortRange) CheckAhead(now time.Time) error {
	var bad fault.List
	checkPlace(&bad, s.Cell, s.Place)
	if s.Source.IssuedAt != nil && s.OldAfter > 0 {
		checkIssued(&bad, *s.Source.IssuedAt, now, s.OldAfter)
	}
	if s.Radar != NoRadar && s.Radar != RadarOK {
		bad.Add("radar_coverage", string(s.Radar), "must be "+string(RadarOK))
	}
	known := time.Duration(0)
	for i := range s.Steps {
		x := &s.Steps[i]
		if !x.RainMMH.Known && !x.RainChance.Known {
			continue
		}
		from, to := x.Start, x.Start.Add(x.Length)
		if from.Before(now) {
			from = now
		}
		if end := now.Add(ShortAhead); to.After(end) {
			to = end
		}
		if d := to.Sub(from); d > 0 {
			known += d
		}
	}
	if known < shortKnown {
		bad.Add(
			"rain",
			"known for "+known.Round(time.Minute).String(),
			fmt.Sprintf(
				"must be known for %v or more of the %v from %s on",
				shortKnown,
				ShortAhead,
				now.UTC().Format(time.RFC3339),
			),
		)
	}
	return bad.Err(s.Source.Feed + ": the document does not serve the hours ahead")
}
