package backtest

import (
	"context"
	"fmt"
	"maps"
	"math"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/measure/emulate"
	"dryslot/internal/planner"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// plannerExtent is what the planner is handed: today and three dates more, 200
// members that share 12 dry weathers, as the service draws them.
var plannerExtent = emulate.Extent{Days: 3, Members: forecast.DefaultMembers, Tracks: forecast.DefaultTracks}

// planned is one pad of a plan.
type planned struct {
	pad                        int
	place0, place1, fin0, fin1 float64
	strip                      float64 // +Inf: not in sight
	unharmed                   float64
}

// shipped is the plan of the evening as the service makes it, and again at 05:00
// from the newest forecast, with the plan before as the one to keep to. Whoever
// goes by it alone stops for the day at the first rain that is seen or foreseen
// within the next hour; byHour decides anew instead.
type shipped struct {
	coverWhenHeld
	name    string
	learned bool // with the correction that the service would have learned by then; else that of its first day
	own     Powers
	asked   *asked
	last    *pour.Plan
}

// asked keeps the forecasts and plans of a site for as long as they may be
// asked for again, by any planner.
type asked struct {
	ctx   context.Context // of the run that all of it is asked in
	site  *Site
	plans map[planKey]job.Result
	draws map[drawKey]*drawn
}

// drawn is one forecast as the planner is handed it.
type drawn struct {
	weather *forecast.Scenarios
	slabs   slabs.Slabs
}

type drawKey struct {
	at      time.Time
	learned bool
}

type planKey struct {
	drawKey
	covers   int
	blankets bool
	key      key
	when     [padCount]int32
	last     string
}

func newAsked(ctx context.Context, s *Site) *asked {
	return &asked{ctx, s, map[planKey]job.Result{}, map[drawKey]*drawn{}}
}

// forget drops what no job that begins on a day or later can ask for.
func (a *asked) forget(d int) {
	before := a.site.Station.Evening(d - 1)
	maps.DeleteFunc(a.plans, func(k planKey, _ job.Result) bool { return k.at.Before(before) })
	maps.DeleteFunc(a.draws, func(k drawKey, _ *drawn) bool { return k.at.Before(before) })
}

func (p *shipped) Name() string { return p.name }

func (p *shipped) Morning(s *Site, d int, st *state) (dayPlan, error) {
	var of [2]dayPlan
	for i, at := range []time.Time{s.Station.Evening(d - 1), s.Station.Dawn(d)} {
		res, err := p.ask(s, d, at, st)
		if err != nil {
			return dayPlan{}, err
		}
		if res == nil {
			return dayPlan{}, nil
		}
		p.last = &res.Plan
		of[i] = s.planOf(d, res)
	}
	out := of[1]
	out.changed = len(of[0].pads) != len(out.pads)
	return out, nil
}

func (p *shipped) Next(m *moment) Action {
	mm := func(foreseen bool) float64 {
		if foreseen {
			return harm.LightMM
		}
		return 0
	}
	if policy.KeepPlacing(mm(m.seen.Raining || m.seen.Wet(0)), mm(m.seen.Wet(1))) {
		return Place
	}
	return Stop
}

// planOf reads what a plan wants of a day.
func (s *Site) planOf(d int, res *job.Result) dayPlan {
	for i := range res.Plan.Pours {
		if p := &res.Plan.Pours[i]; p.Date == s.days[d].date {
			return s.pourOf(p, res)
		}
	}
	return dayPlan{}
}

func (s *Site) pourOf(p *pour.Pour, res *job.Result) dayPlan {
	c := dayPlan{start: s.minute(p.Start), end: s.minute(p.End)}
	for i := range res.Mornings {
		m := &res.Mornings[i]
		if m.Date != p.Date {
			continue
		}
		for _, t := range m.Pads {
			pad := padNumber(t.Pad)
			c.pads = append(c.pads, pad)
			c.stated = append(c.stated, t.ChanceUnharmed)
			strip := math.Inf(1)
			if t.StripFrom != nil {
				strip = s.minute(*t.StripFrom)
			}
			c.expect = append(c.expect, planned{pad, s.minute(t.PlaceStart), s.minute(t.PlaceEnd),
				s.minute(t.FinishStart), s.minute(t.FinishEnd), strip, t.ChanceUnharmed})
		}
	}
	return c
}

// ask makes the plan as of an instant; nil where nothing is foreseen.
func (p *shipped) ask(s *Site, d int, at time.Time, st *state) (*job.Result, error) {
	w, err := p.drawnAt(s, at)
	if w == nil || err != nil {
		return nil, err
	}
	k := planKey{
		drawKey:  drawKey{at, p.learned},
		covers:   p.own.Covers,
		blankets: p.own.Blankets,
		key:      s.keyAt(d, st),
		last:     brief(p.last),
	}
	for pad := range st.when {
		if st.has(pad) && s.minute(at)-st.when[pad] < recentMin {
			k.when[pad] = int32(st.when[pad])
		}
	}
	if x, ok := p.asked.plans[k]; ok {
		return &x, nil
	}
	x, err := planner.Make(
		p.asked.ctx,
		job.Job{Spec: s.specWith(p.own), Records: s.records(st, at), Now: at.In(s.Zone), Zone: s.Zone, Last: p.last,
			Days: s.daysFrom(at, w.weather), Weather: w.weather, Slabs: w.slabs,
			Trust: job.Trust{Feed: "emulated", FetchedAt: at, Members: len(w.weather.Members)}},
	)
	if err != nil {
		return nil, fmt.Errorf("backtest: %s: %w", s.days[d].date, err)
	}
	p.asked.plans[k] = *x
	return x, nil
}

// brief is what of a last plan the next one keeps to.
func brief(p *pour.Plan) string {
	if p == nil {
		return ""
	}
	out := ""
	for _, x := range p.Pours {
		out += fmt.Sprint(x.Date, x.Start.Unix(), x.Pads)
	}
	return out
}

func (p *shipped) drawnAt(s *Site, at time.Time) (*drawn, error) {
	k := drawKey{at, p.learned}
	if w, ok := p.asked.draws[k]; ok {
		return w, nil
	}
	var cal *forecast.Recalibration
	if p.learned {
		cal = s.learned.at(s.Station, at)
	}
	sc, ok := s.region.Scenarios(s.Station, at, plannerExtent, cal)
	if !ok {
		p.asked.draws[k] = nil
		return nil, nil
	}
	made, err := slabs.New(s.Spec, sc, slabs.Options{Zone: s.Zone})
	if err != nil {
		return nil, fmt.Errorf("backtest: %w", err)
	}
	w := &drawn{sc, made}
	p.asked.draws[k] = w
	return w, nil
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

// recentMin is how long a pad that is placed counts as not stripped, at most:
// three days.
const recentMin = 3 * 24 * 60

// records is how each pad stands at an instant, as the planner takes it.
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
