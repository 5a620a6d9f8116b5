package policy

import (
	"context"
	"errors"
	"math"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/hourly"
)

// standByRain is the share of members with rain in the crew's hours from which on
// it is worked out what a crew makes of a morning (judgement: below it a morning
// counts as dry).
const standByRain = 0.1

// StandBy is what a crew is expected to make of a morning when it comes to the site
// and decides from hour to hour.
type StandBy struct {
	hourly.Outlook
	Hours []float64 // of Going: minutes at which each begins; the first is the earliest start
}

// StandBy works out what a crew makes of a morning on which no pad planned before
// it stands; nil where the morning is dry, or nothing can be begun.
func (m *Model) StandBy(day int) *StandBy {
	f := m.Prepared
	d := &f.Days[day]
	if !d.Off.IsZero() || len(d.Starts) == 0 || d.rainy < standByRain {
		return nil
	}
	w := &Workday{f: f, m: m, day: day, harm: harm.Soft(harm.Rain(f.Spec.Limits.Harm), false)}
	if w.setOrder(); len(w.order) == 0 {
		return nil
	}
	first := max(0, HourOf(d.Starts[0])-beliefBefore)
	hours := min(beliefHours, f.Weather.Hours-first)
	w.offset = float64(first) * 60
	now := d.Starts[0] - w.offset
	if now >= float64(hours)*60 {
		return nil
	}
	seen := belief.Seen{Hour: int(now / 60), Passed: math.Mod(now, 60) / 60,
		Before: [3]float64{math.NaN(), math.NaN(), math.NaN()}}
	channel := belief.Stated().NewChannel(f.rainOften())
	x := w.empty(seen, &channel)
	x.Now = now
	for i := range f.Weather.Members {
		wx := &f.Weather.Members[i]
		one := hourly.Member{Weight: 1 / float64(len(f.Weather.Members)), RainMM: wx.RainMM[first : first+hours]}
		if len(wx.Thunder) >= first+hours {
			one.Thunder = wx.Thunder[first : first+hours]
		}
		x.Members = append(x.Members, one)
	}
	w.layOut(x, &Moment{Now: f.Clock(d.Starts[0])}, w.order)
	f.budget.do(len(x.Members) * hours)
	out, err := hourly.Foresee(f.budget.ctx, x)
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		panic(stopped{err}) // it leaves as of any other work
	}
	if err != nil {
		return nil // a day that can't be decided on has no outlook
	}
	s := &StandBy{Outlook: out}
	for h := range out.Going {
		s.Hours = append(s.Hours, max(d.Starts[0], float64(HourOf(d.Starts[0])+h)*60))
	}
	return s
}

// rainOften returns what the members' hours are like, as nowcasts ask for it.
func (f *Prepared) rainOften() belief.Frequencies {
	var wet, all, beside, onset float64
	for m := range f.Weather.Members {
		rain := f.Weather.Members[m].RainMM
		for h := 1; h+1 < len(rain); h++ {
			all++
			is, was := rain[h] >= belief.WetMM, rain[h-1] >= belief.WetMM
			switch {
			case is:
				wet++
				onset += float64(Flag(!was))
			case was || rain[h+1] >= belief.WetMM:
				beside++
			}
		}
	}
	// A forecast without a wet or without a dry hour may be wrong: one hour of each is
	// added to the counts (Laplace's rule).
	wet, all = wet+1, all+2
	return belief.Frequencies{Wet: wet / all, Beside: beside / (all - wet), Onset: min(1, (onset+1)/wet)}
}
