package backtest

import (
	"fmt"
	"math"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/planner"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// plan is the planner as a policy: it decides the evening before and again at
// 05:00, and stops placing when rain is seen or due within the hour.
type plan struct {
	site  *Site
	memo  map[memoKey]planner.Decision
	slabs map[*forecast.Scenarios]planner.Slabs
}

type memoKey struct {
	at   time.Time
	key  key
	when [padCount]int32
}

// NewPlanner returns the planner as a policy for one site.
func NewPlanner(s *Site) Policy {
	return &plan{site: s, memo: map[memoKey]planner.Decision{}, slabs: map[*forecast.Scenarios]planner.Slabs{}}
}

func (p *plan) Name() string { return "planner" }

func (p *plan) Keep(thisMM, nextMM float64) bool { return planner.KeepPlacing(thisMM, nextMM) }

func (p *plan) Decide(s *Site, d int, st *state) (choice, error) {
	evening, err := p.ask(s, d, s.Station.Evening(d-1), s.Evening(d), st)
	if err != nil {
		return choice{}, err
	}
	dawn, err := p.ask(s, d, s.Station.Dawn(d), s.Dawn(d), st)
	if err != nil {
		return choice{}, err
	}
	c := s.choiceOf(d, dawn)
	c.changed = evening.Pour != dawn.Pour || len(evening.Pads) != len(dawn.Pads)
	return c, nil
}

// choiceOf reads a decision; one for another date than d is to wait.
func (s *Site) choiceOf(d int, x planner.Decision) choice {
	if !x.Pour || x.Date != s.days[d].date {
		return choice{}
	}
	c := choice{start: s.minute(x.Start)}
	for _, t := range x.Pads {
		pad := padNumber(t.Pad)
		c.pads = append(c.pads, pad)
		c.stated = append(c.stated, t.ChanceUnharmed)
		strip := math.Inf(1)
		if t.StripFrom != nil {
			strip = s.minute(*t.StripFrom)
		}
		c.expect = append(c.expect, planned{pad, s.minute(t.PlaceStart), s.minute(t.PlaceEnd), s.minute(t.FinishStart), s.minute(t.FinishEnd), strip, t.ChanceUnharmed})
	}
	c.end = s.minute(x.End)
	return c
}

func (p *plan) ask(s *Site, d int, at time.Time, wx *forecast.Scenarios, st *state) (planner.Decision, error) {
	if wx == nil {
		return planner.Decision{}, nil
	}
	k := memoKey{at: at, key: keyAt(s, d, st)}
	for pad := range st.when {
		if st.has(pad) && s.minute(at)-st.when[pad] < recentMin {
			k.when[pad] = int32(st.when[pad])
		}
	}
	if x, ok := p.memo[k]; ok {
		return x, nil
	}
	slabs, ok := p.slabs[wx]
	if !ok {
		var err error
		if slabs, err = planner.NewSlabs(s.Spec, wx, planner.SlabOptions{Zone: s.Zone}); err != nil {
			return planner.Decision{}, fmt.Errorf("backtest: %w", err)
		}
		p.slabs[wx] = slabs
	}
	x, err := planner.Decide(planner.Job{Spec: s.Spec, Records: s.records(st, at), Now: at.In(s.Zone), Zone: s.Zone, Days: s.daysFrom(at, wx),
		Weather: wx, Slabs: slabs, Trust: planner.Trust{Feed: "emulated", FetchedAt: at, Members: len(wx.Members)}})
	if err != nil {
		return planner.Decision{}, fmt.Errorf("backtest: %s: %w", s.days[d].date, err)
	}
	p.memo[k] = x
	return x, nil
}

// forget drops what was decided before a day.
func (p *plan) forget(s *Site, d int) {
	before := s.Station.Evening(d - 1)
	for k := range p.memo {
		if k.at.Before(before) {
			delete(p.memo, k)
		}
	}
	clear(p.slabs)
}

// daysFrom returns the dates that the weather covers, from an instant's on.
func (s *Site) daysFrom(at time.Time, wx *forecast.Scenarios) []daylight.Day {
	first := s.Station.DayOf(at)
	end := wx.Start.Add(time.Duration(wx.Hours) * time.Hour)
	var out []daylight.Day
	for d := first; d < len(s.days) && !s.days[d].date.At(unit.Clock(23*60), s.Zone).After(end); d++ {
		out = append(out, s.days[d].light)
	}
	return out
}

// recentMin is how long a pad that is placed is told of as not stripped, at
// most: three days.
const recentMin = 3 * 24 * 60

// records tells the planner how each pad stands at an instant.
func (s *Site) records(st *state, at time.Time) []pour.PadRecord {
	now := s.minute(at)
	out := make([]pour.PadRecord, padCount)
	for pad := range out {
		r := &out[pad]
		r.Pad, r.State = padName(pad), pour.Waiting
		if !st.has(pad) {
			continue
		}
		placed := s.clock(st.when[pad])
		finished := placed.Add(6 * time.Hour)
		r.State, r.PlacedAt, r.FinishedAt = pour.Stripped, &placed, &finished
		switch {
		case firstBay(pad) && st.strip[pad] > now:
			r.State = pour.Finished
		case !firstBay(pad) && now-st.when[pad] < 24*60:
			r.State = pour.Finished
		default:
			r.StrippedAt = &finished
		}
	}
	return out
}

// keyAt is a state as far as it matters on a day.
func keyAt(s *Site, d int, st *state) key {
	f := foresight{site: s}
	return f.keyOf(d, st)
}
