package policy

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"dryslot/internal/forecast/belief"
)

// HourRain is what is believed of one hour's rain.
type HourRain struct {
	Time   time.Time
	Chance float64 // of belief.WetMM or more, 0 to 1
	MM     float64 // mean over the members that know it
}

// rainHours is how many hours Rain covers.
const rainHours = 12

// Rain returns the rain of the hours from the present one on, as Decide and
// Cover believe it, and for each instant the chance of a wet hour from now until
// then. An hour that is not known counts as wet. Without a day to decide on it
// returns nothing.
func (w *Workday) Rain(ctx context.Context, at Moment, until []time.Time) (_ []HourRain, _ []float64, err error) {
	defer Caught(&err)
	if w.day < 0 {
		return nil, nil, nil
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, fmt.Errorf("planner: %w", err)
	}
	d := w.bare(ctx, &at)
	first := int(d.Now / 60)
	wet := func(rain []float64, h int) bool { return h == first && at.Raining || !(rain[h] < belief.WetMM) }
	hours := make([]HourRain, max(0, min(rainHours, len(d.Members[0].RainMM)-first)))
	for i := range hours {
		h, known := first+i, 0.0
		x := &hours[i]
		x.Time = w.f.Start.Add(time.Duration(w.offset)*time.Minute + time.Duration(h)*time.Hour)
		for k := range d.Members {
			m := &d.Members[k]
			if wet(m.RainMM, h) {
				x.Chance += m.Weight
			}
			if mm := m.RainMM[h]; mm >= 0 {
				x.MM += m.Weight * mm
				known += m.Weight
			}
		}
		x.Chance = min(x.Chance, 1)
		if known > 0 {
			x.MM /= known
		}
	}
	reach := make([]float64, len(until))
	for i, t := range until {
		end := w.f.Minute(t) - w.offset
		for k := range d.Members {
			m := &d.Members[k]
			last := min(len(m.RainMM), max(first, int(math.Ceil(end/60))))
			if slices.ContainsFunc(hoursFrom(first, last), func(h int) bool { return wet(m.RainMM, h) }) {
				reach[i] += m.Weight
			}
		}
		reach[i] = min(reach[i], 1)
	}
	return hours, reach, nil
}

// hoursFrom lists the hours [from, until).
func hoursFrom(from, until int) []int {
	var out []int
	for h := from; h < until; h++ {
		out = append(out, h)
	}
	return out
}
