package policy

import (
	"math"

	"dryslot/internal/forecast"
	"dryslot/internal/planner/harm"
	"dryslot/internal/pour"
)

// next holds, for every hour of one member, the next hour from it on in which
// something happens; the number of hours where nothing more does.
type next []int16

// Before reports whether it happens in the hours [from, until).
func (n next) Before(from, until int) bool {
	if from < 0 || until >= len(n) {
		return true // outside the weather known: it can't be ruled out
	}
	return from < until && int(n[from]) < until
}

// sky is one member's rain and thunder, made ready for questions.
type sky struct {
	track   int
	Light   next // touches a soft pad; unknown counts
	harm    next // loses an open, soft pad; unknown counts
	heavy   next // marks a setting pad; unknown counts
	over    next // loses a covered pad; unknown counts
	wet     next // the feed's own wet event; unknown counts
	Unknown next
	Thunder next
	rain    []float64
}

// index makes a member ready.
func index(w *forecast.Weather, hours int, wetMM float64, limits harm.RainLimits) sky {
	s := sky{track: w.Track, rain: w.RainMM}
	flat := make([]int16, 7*(hours+1))
	lists := []*next{&s.Light, &s.harm, &s.heavy, &s.over, &s.wet, &s.Unknown, &s.Thunder}
	for i, l := range lists {
		*l = flat[i*(hours+1) : (i+1)*(hours+1)]
		(*l)[hours] = int16(hours)
	}
	for h := hours - 1; h >= 0; h-- {
		r := math.NaN()
		if h < len(w.RainMM) {
			r = w.RainMM[h]
		}
		gone := math.IsNaN(r)
		mark := func(l next, hit bool) {
			l[h] = l[h+1]
			if hit {
				l[h] = int16(h)
			}
		}
		mark(s.Light, harm.Touches(r))
		mark(s.harm, limits.Loses(r))
		mark(s.heavy, harm.Marks(r))
		mark(s.over, harm.LosesCovered(r))
		mark(s.wet, gone || r > wetMM)
		mark(s.Unknown, gone)
		mark(s.Thunder, h < len(w.Thunder) && w.Thunder[h])
	}
	return s
}

// clearing returns the minutes spent on each pad before it is placed when work
// starts at a minute: puddles are cleared where half the members or more have
// them and nothing covers the base.
func (f *Prepared) clearing(start float64) float64 {
	if h := HourOf(start); f.baseCover() == "" && h >= 0 && h < len(f.wetAt) && f.wetAt[h] {
		return harm.PuddleMin
	}
	return 0
}

// baseCover is what lies on the base the night before; empty: nothing.
func (f *Prepared) baseCover() string {
	if c := f.Spec.BaseCover(); c != pour.NoCover {
		return c
	}
	return ""
}

// HourOf returns the hour that a minute lies in.
func HourOf(min float64) int { return int(math.Floor(min / 60)) }

// HourAfter returns the hour that a span ending at a minute ends before.
func HourAfter(min float64) int {
	if min > 1e8 {
		return 1 << 20
	}
	return int(math.Ceil(min / 60))
}
