package backtest

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/measure/emulate"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
)

// byHour is the planner deciding from hour to hour: whatever can be placed is
// wanted from the earliest start on, and before each pad planner.Workday is
// asked with what is known then. Its belief is made of the newest forecast, that
// of the hour, as the rules have it, and of a library without the region's own
// days; where there is no nowcast, of that of 05:00.
type byHour struct {
	shipped
	library *belief.Library
	days    map[planKey]*policy.Workday
	day     *policy.Workday
	renewed time.Time // hour of the forecast that day believes in
	stated  []float64 // chances that today's pads are lost, as stated when they were placed
	err     error     // the first, returned on the next morning
}

func (p *byHour) Morning(s *Site, d int, st *state) (dayPlan, error) {
	p.stated, p.day = nil, nil
	if p.err != nil {
		return dayPlan{}, p.err
	}
	at := s.Station.Dawn(d)
	drawn, err := p.drawnAt(s, at)
	if drawn == nil || err != nil {
		return dayPlan{}, err
	}
	k := planKey{drawKey: drawKey{at, p.learned}, covers: p.own.Covers, blankets: p.own.Blankets, key: s.keyAt(d, st)}
	for pad := range st.when {
		if st.has(pad) && s.minute(at)-st.when[pad] < recentMin {
			k.when[pad] = int32(st.when[pad])
		}
	}
	w, ok := p.days[k]
	if !ok {
		w, err = policy.NewWorkday(
			p.asked.ctx,
			job.Job{Spec: s.specWith(p.own), Records: s.records(st, at), Now: at.In(s.Zone),
				Zone: s.Zone, Days: s.daysFrom(at, drawn.weather), Weather: drawn.weather, Slabs: drawn.slabs,
				Trust: job.Trust{Feed: "emulated", FetchedAt: at, Members: len(drawn.weather.Members)}},
			p.library,
		)
		if err != nil {
			return dayPlan{}, fmt.Errorf("backtest: %s: %w", s.days[d].date, err)
		}
		maps.DeleteFunc(
			p.days,
			func(k planKey, _ *policy.Workday) bool { return k.at.Before(at.Add(-longestJob * 24 * time.Hour)) },
		)
		p.days[k] = w
	}
	p.day, p.renewed = w, time.Time{}
	out := dayPlan{start: s.days[d].open}
	for _, name := range w.Order() {
		out.pads = append(out.pads, padNumber(name))
	}
	return out, nil
}

// saidAs turns the emulated nowcast's words into the planner's.
var saidAs = map[emulate.Foreseen]belief.Said{emulate.ForeseenDry: belief.SaidDry,
	emulate.ForeseenRain: belief.SaidWet, emulate.ForeseenHeavy: belief.SaidHeavy}

// perfectHour is the reliability of a nowcast that knows this hour and the next.
var perfectHour = func() belief.Reliability {
	r := belief.Stated()
	for _, k := range [...]int{belief.RestOfHour, belief.NextHour} {
		r.Detection[k], r.FalseAlarm[k] = 0.99, 0.01
	}
	return r
}()

// known turns a moment into what the planner knows.
func (m *moment) known() policy.Moment {
	s := m.site
	at := policy.Moment{Now: s.clock(m.now), SetUp: m.setUp, Raining: m.seen.Raining}
	for k := range at.Before {
		at.Before[k] = s.rain(m.now - float64(k+1)*60)
	}
	if m.powers.Nowcast == emulate.PerfectHour {
		at.Proven = &perfectHour
	}
	if !m.seen.None {
		for k, said := range m.seen.Hours {
			at.Nowcast[k] = saidAs[said]
		}
	}
	for i := range m.placed {
		p := &m.placed[i]
		at.Placed = append(at.Placed, policy.PlacedToday{Pad: padName(p.pad), At: s.clock(p.place0),
			Finished: !slices.Contains(m.open, i), Covered: !math.IsInf(p.coverOn, 1)})
	}
	return at
}

// renew hands the planner the forecast of the hour.
func (p *byHour) renew(m *moment) error {
	at := m.site.clock(m.now).Truncate(time.Hour)
	if at.Equal(p.renewed) {
		return nil
	}
	if m.seen.None {
		at = m.site.Station.Dawn(m.day)
	}
	p.renewed = at
	wx, err := p.drawnAt(m.site, at)
	if wx == nil || err != nil {
		return err
	}
	return p.day.Renew(p.asked.ctx, p.library, wx.weather, at)
}

func (p *byHour) fails(m *moment, err error) {
	if err != nil && p.err == nil {
		p.err = fmt.Errorf("backtest: %s: %w", m.site.clock(m.now), err)
	}
}

func (p *byHour) Next(m *moment) Action {
	p.fails(m, p.renew(m))
	x, err := p.day.Decide(p.asked.ctx, m.known())
	p.fails(m, err)
	switch x.Do {
	case hourly.Place:
		if m.setUp {
			p.stated = append(p.stated[:min(len(p.stated), len(m.placed))], x.Lost)
		}
		return Place
	case hourly.Wait:
		return Wait
	}
	return Stop
}

func (p *byHour) Cover(m *moment, _ []int) []int {
	p.fails(m, p.renew(m))
	x, err := p.day.Cover(p.asked.ctx, m.known())
	p.fails(m, err)
	var out []int
	for _, c := range x {
		if c.Cover {
			out = append(out, c.Pad)
		}
	}
	slices.Sort(out)
	return out
}
