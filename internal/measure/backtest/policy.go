package backtest

import (
	"math"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/measure/emulate"
)

// Policy decides what to pour.
type Policy interface {
	Name() string
	// Decide says what to do on day d of a site with a job in a state.
	Decide(s *Site, d int, st *state) (choice, error)
	// Keep tells whether to begin another pad, given the rain of this hour and
	// of the next as the nowcast has them: the truth.
	Keep(thisMM, nextMM float64) bool
}

// choice is what a policy wants done on a day.
type choice struct {
	start   float64 // of setting up, minute of the record
	pads    []int   // in the order of placing; none: no pour
	all     bool    // pour all that is possible
	stated  []float64
	expect  []planned // the day as it was planned, for the checker
	changed bool      // another decision than the evening's
	end     float64   // of the planned day
}

// planned is one pad of a plan.
type planned struct {
	pad                        int
	place0, place1, fin0, fin1 float64
	strip                      float64 // +Inf: not in sight
	unharmed                   float64
}

// What the planner is handed: today and three dates more, 200 members that
// share 12 dry weathers (judgement: rain decides, and slabs cost time); and what
// a rule of thumb reads its chance from: the members of the emulated forecast.
var (
	plannerExtent = emulate.Extent{Days: 3, Members: 200, Tracks: 12}
	ruleExtent    = emulate.Extent{Days: 1, Members: 200, Tracks: 1}
)

// outlooks keeps a site's forecasts for as long as they may be asked again.
type outlooks struct {
	site   *Site
	kept   map[time.Time]*forecast.Scenarios
	chance map[int]float64 // of a wet day, by day, as a rule of thumb reads it
}

func newOutlooks(s *Site) *outlooks {
	return &outlooks{s, map[time.Time]*forecast.Scenarios{}, map[int]float64{}}
}

func (o *outlooks) at(t time.Time) *forecast.Scenarios {
	sc, ok := o.kept[t]
	if !ok {
		sc, _ = o.site.service.Scenarios(o.site.Station, t, plannerExtent)
		o.kept[t] = sc
	}
	return sc
}

// forget drops the forecasts issued before a day.
func (o *outlooks) forget(d int) {
	before := o.site.Station.Evening(d - 1)
	for t := range o.kept {
		if t.Before(before) {
			delete(o.kept, t)
		}
	}
}

// Evening returns the forecast issued at 19 o'clock the day before day d, nil
// where there is none.
func (s *Site) Evening(d int) *forecast.Scenarios { return s.sky.at(s.Station.Evening(d - 1)) }

// Dawn returns the one of 5 o'clock of day d.
func (s *Site) Dawn(d int) *forecast.Scenarios { return s.sky.at(s.Station.Dawn(d)) }

// wetDay returns the chance, the evening before, of 0.25 mm or more in some
// hour between 07 and 19 o'clock of day d; 1 where nothing is foreseen.
func (s *Site) wetDay(d int) float64 {
	p, ok := s.sky.chance[d]
	if !ok {
		p = 1
		const from, until = 7 * 60, 19 * 60
		if sc, ok := s.Station.Issue(&s.service.Region.Noise, s.Station.Evening(d-1), ruleExtent); ok {
			p = sc.WindowReaching(s.days[d].date.At(from, s.Zone), s.days[d].date.At(until, s.Zone), rainMars)
		}
		s.sky.chance[d] = p
	}
	return p
}

// rule is a rule of thumb: the evening before, pour everything possible from
// the earliest start if tomorrow's chance of 0.25 mm or more in some hour
// between 07 and 19 o'clock is below a limit.
type rule struct {
	name  string
	below float64
	stops bool // when rain is seen
}

// Rules returns the rules of thumb with 20, 30 and 50 %: three that never
// stop, the yardstick, and the same three allowed to stop when rain is seen.
func Rules() []Policy {
	return []Policy{
		rule{"rule_20", 0.2, false}, rule{"rule_30", 0.3, false}, rule{"rule_50", 0.5, false},
		rule{"rule_20_stopping", 0.2, true}, rule{"rule_30_stopping", 0.3, true}, rule{"rule_50_stopping", 0.5, true},
	}
}

func (r rule) Name() string { return r.name }

func (r rule) Decide(s *Site, d int, _ *state) (choice, error) {
	if s.wetDay(d) >= r.below {
		return choice{}, nil
	}
	return choice{start: s.days[d].open, all: true}, nil
}

func (r rule) Keep(thisMM, _ float64) bool { return !r.stops || thisMM < rainMars }

// nowcast hands a policy the rain that it is told of.
func (s *Site) nowcast(p Policy) func(minute float64) bool {
	return func(minute float64) bool {
		h := math.Floor(minute / 60)
		return p.Keep(s.rain(h*60), s.rain((h+1)*60))
	}
}
