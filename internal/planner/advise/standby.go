package advise

import (
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
)

// Chances (judgement) from which on a number of pads is given as the most that may be
// poured, or as what is likely, and an hour as one in which placing goes on.
const (
	mayPour    = 0.1
	likelyPour = 0.5
	gapFrom    = 0.5
)

// standByMornings is how many mornings get a forecast of what a crew makes of their
// showers: for later ones there will be newer forecasts before anybody stands by.
const standByMornings = 2

// standBy is what a crew is expected to make of a morning's showers; nil where it pours
// all that is planned.
func (f *Adviser) standBy(m *policy.Model, day int, s policy.State, p *policy.Planned) *job.StandBy {
	if s != (policy.State{}) || f.Job.WhatIf != nil || day < m.First || day >= m.First+standByMornings {
		return nil
	}
	x := m.StandBy(day)
	if x == nil {
		return nil
	}
	out := &job.StandBy{Lost: policy.Round4(x.Lost), Gaps: []job.Gap{}}
	for k, chance := range x.AtLeast {
		if chance >= mayPour {
			out.UpTo = k + 1
		}
		if chance >= likelyPour {
			out.Likely = k + 1
		}
	}
	planned := 0
	if p != nil {
		planned = len(p.Pads)
	}
	if out.UpTo == 0 || out.Likely == out.UpTo && out.UpTo <= planned {
		return nil
	}
	open := f.gaps(out, x)
	upTo, likely := message.Count("up_to", out.UpTo), message.Count("likely", out.Likely)
	switch {
	case out.Likely > 0 && planned > 0:
		out.Data = []message.Message{message.New(job.StandByPads, upTo, likely)}
	case out.Likely > 0:
		out.Data = []message.Message{message.New(job.StandByHeld, upTo, likely)}
	case planned > 0:
		out.Data = []message.Message{message.New(job.StandByNone, upTo)}
	default:
		return nil // not worth coming for
	}
	said := func(i int) message.Message {
		if g := out.Gaps[i]; i < len(out.Gaps)-1 || !open {
			return message.New(job.GapBetween, message.At("from", g.From), message.At("until", g.Until))
		}
		return message.New(job.GapAfter, message.At("from", out.Gaps[i].From))
	}
	switch n := len(out.Gaps); n {
	case 0:
	case 1:
		out.Data = append(out.Data, message.New(job.StandByGap, message.Within("gap", said(0))))
	case 2:
		out.Data = append(out.Data, message.New(job.StandByTwo, message.Within("gap", said(0)),
			message.Within("other", said(1))))
	default:
		out.Data = append(out.Data, message.New(job.StandByMore, message.Count("count", n),
			message.Within("gap", said(0)), message.Within("other", said(1))))
	}
	return out
}

// gaps fills the gaps between showers, and reports whether the last is open: it
// lasts as long as pads can be begun. One that lasts all day is none.
func (f *Adviser) gaps(out *job.StandBy, x *policy.StandBy) (open bool) {
	last := len(x.Going) - 1
	for last > 0 && x.Going[last] != x.Going[last] { // NaN: nothing can be begun
		last--
	}
	begun := -1
	for h := 0; h <= last+1; h++ {
		going := h <= last && x.Going[h] >= gapFrom
		switch {
		case going && begun < 0:
			begun = h
		case !going && begun >= 0:
			if begun > 0 || h <= last {
				until := x.Hours[h-1] + 60
				if h < len(x.Hours) {
					until = x.Hours[h]
				}
				out.Gaps = append(out.Gaps, job.Gap{From: f.Clock(x.Hours[begun]), Until: f.Clock(until)})
				open = h > last
			}
			begun = -1
		}
	}
	return open
}
