package backtest

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/measure/emulate"
	"dryslot/internal/planner/harm"
	"dryslot/internal/unit"
)

// newYork is the committed record of one city, read once: it is not changed.
var newYork = sync.OnceValues(func() (*emulate.Region, error) {
	zone := func(_, _ float64) (*time.Location, error) { return time.LoadLocation("America/New_York") }
	rs, err := emulate.Load(os.DirFS("../../../testdata/weather"), zone, "newyork_2013")
	if err != nil {
		return nil, err
	}
	return rs[0], nil
})

var lessons = sync.OnceValues(func() (*Lessons, error) {
	r, err := newYork()
	if err != nil {
		return nil, err
	}
	return Learn(r), nil
})

func site(t testing.TB) *Site {
	t.Helper()
	r, err := newYork()
	if err != nil {
		t.Fatal(err)
	}
	l, err := lessons()
	if err != nil {
		t.Fatal(err)
	}
	s, err := NewSite(r.Stations[1], r, l, false)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestTheReferenceJob(t *testing.T) {
	s := jobSpec("job", 53, -8, 50, "Europe/Dublin")
	if err := s.Validate(); err != nil {
		t.Fatal(err)
	}
	if len(s.Pads) != 12 {
		t.Fatalf("%d pads", len(s.Pads))
	}
	at := map[[2]int]int{}
	for p := range padCount {
		if padNumber(padName(p)) != p || s.Pads[p].Name != padName(p) {
			t.Errorf("pad %d is named %s", p, padName(p))
		}
		at[[2]int{int(padName(p)[0] - 'A'), int(padName(p)[1] - '1')}] = p
	}
	for cell, p := range at {
		var want []string
		for _, d := range [][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
			if q, ok := at[[2]int{cell[0] + d[0], cell[1] + d[1]}]; ok {
				if firstBay(q) == firstBay(p) {
					t.Errorf("neighbours %s and %s are both of one kind", padName(p), padName(q))
				}
				if !firstBay(p) {
					want = append(want, padName(q))
				}
			}
		}
		if len(s.Pads[p].After) != len(want) {
			t.Errorf("%s waits for %v, want %v", padName(p), s.Pads[p].After, want)
		}
	}
}

func TestLightAgreesWithPackageDaylight(t *testing.T) {
	ny, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for _, date := range []unit.Date{{Year: 2013, Month: 4, Day: 10}, {Year: 2013, Month: 6, Day: 21},
		{Year: 2013, Month: 11, Day: 5}} {
		got, err := lightOf(date, 40.7, -74, ny)
		if err != nil {
			t.Fatal(err)
		}
		want, err := daylight.Of(date, 40.7, -74, ny)
		if err != nil {
			t.Fatal(err)
		}
		for name, d := range map[string]time.Duration{"first light": got.FirstLight.Sub(want.FirstLight),
			"sunrise": got.Sunrise.Sub(want.Sunrise),
			"sunset":  got.Sunset.Sub(want.Sunset), "last light": got.LastLight.Sub(want.LastLight)} {
			if d.Abs() > time.Minute {
				t.Errorf("%s: %s is %v off", date, name, d)
			}
		}
	}
}

// anyone decides at random.
type anyone struct{ *rand.Rand }

func (a anyone) Name() string                                { return "anyone" }
func (a anyone) Morning(*Site, int, *state) (dayPlan, error) { return dayPlan{}, nil }

func (a anyone) Next(*moment) Action {
	return [...]Action{Place, Place, Place, Wait, Stop}[a.IntN(5)]
}

func (a anyone) Cover(_ *moment, soft []int) []int {
	if a.IntN(3) > 0 {
		return nil
	}
	return soft[a.IntN(len(soft)):]
}

// Any day that the crew works passes the independent checker, whatever is
// decided, and a longer list of pads never makes it do fewer.
func TestACrewDayKeepsTheRules(t *testing.T) {
	p := Powers{Nowcast: emulate.OrdinaryNowcast, Covers: 3}
	s := site(t)
	rnd := rand.New(rand.NewPCG(1, 5))
	worked, waited, covered := 0, 0, 0
	for range 300 {
		d := 100 + rnd.IntN(230)
		st := someState(s, d, rnd)
		pads := st.open(s.days[d].shut)
		if len(pads) == 0 || !s.days[d].usable {
			continue
		}
		order := workOrder(rnd.IntN(2))
		want := dayPlan{start: s.days[d].open + 30*float64(rnd.IntN(12)), pads: pads}
		run := s.play(d, &st, want, anyone{rnd}, p, order)
		var tally Tally
		s.checkDay(&tally, d, &run, &st, p)
		for _, f := range tally.Faults {
			t.Errorf("day %d: %s", d, f)
		}
		worked, waited, covered = worked+len(run.pads), waited+len(run.waits), covered+len(run.covers)
		run = s.play(d, &st, want, nil, p, order)
		if n := len(run.pads); n > 0 {
			want.pads = pads[:n]
			if fewer := s.play(d, &st, want, nil, p, order); len(fewer.pads) != n {
				t.Errorf("day %d: asked for the %d pads that it did, it does %d", d, n, len(fewer.pads))
			}
		}
	}
	if worked < 300 || waited < 20 || covered < 50 {
		t.Errorf("only %d pads, %d waits and %d coverings", worked, waited, covered)
	}
}

// someState is a job of which some first bays were poured the day before.
func someState(s *Site, d int, rnd *rand.Rand) state {
	var st state
	for c := range columns {
		if rnd.IntN(2) == 0 {
			st.done |= 1 << c
			st.when[c] = s.days[d].open - 24*60 + 60*float64(c)
			st.strip[c] = st.when[c] + 600 + 1200*rnd.Float64()
		}
	}
	return st
}

func TestTheCheckerSeesABrokenDay(t *testing.T) {
	p := Powers{Covers: 6}
	s := site(t)
	var st state
	const d = 150
	for name, spoil := range map[string]func(*dayRun){
		"two pads at once": func(r *dayRun) {
			r.pads[1].place0, r.pads[1].place1 = r.pads[1].place0-55, r.pads[1].place1-55
		},
		"work in a wait":       func(r *dayRun) { r.waits = append(r.waits, span{r.pads[0].place0, r.pads[0].place1}) },
		"a wait after the day": func(r *dayRun) { r.waits = append(r.waits, span{r.end, r.end + 24*60}) },
		"a cover before a pad": func(r *dayRun) {
			r.covers = append(r.covers, covering{span{r.start, r.start + 5}, []int{r.pads[0].pad}})
		},
		"a cover while placing": func(r *dayRun) {
			r.covers = append(r.covers, covering{span{r.pads[1].place0, r.pads[1].place0 + 5}, []int{r.pads[0].pad}})
		},
		"a cover on nothing": func(r *dayRun) {
			r.covers = append(r.covers, covering{span{r.end, r.end + 5}, []int{11}})
		},
	} {
		run := s.play(d, &st, dayPlan{start: s.days[d].open, pads: st.open(s.days[d].shut)}, nil, p, finishFirst)
		if len(run.pads) < 2 {
			t.Fatalf("%d pads on an ordinary day", len(run.pads))
		}
		spoil(&run)
		var tally Tally
		s.checkDay(&tally, d, &run, &st, p)
		if len(tally.Faults) == 0 {
			t.Errorf("%s: the checker says nothing", name)
		}
	}
}

func TestRainIsJudgedByHourStateAndCover(t *testing.T) {
	s := site(t)
	never := math.Inf(1)
	const placed = 4000 * 60
	for _, c := range []struct {
		name  string
		rain  float64
		at    float64 // minutes after placing
		cover float64 // minutes after placing
		want  fate
	}{
		{"dry", 0.2, 60, never, fate{}}, {"light before finishing", 0.3, 60, never, fate{0.1, 1}},
		{"light after finishing", 0.3, 215, never, fate{0.1, 1}}, {"heavy before set", 2.5, 215, never, fate{1, 1}},
		{"heavy after set", 9, 301, never, fate{0, 1}}, {"long after", 9, 490, never, fate{}},
		{"unknown", math.NaN(), 60, never, fate{1, 1}}, {"light, covered in time", 0.3, 120, 100, fate{0.05, 1}},
		{"light, covered in the rain", 0.3, 120, 170, fate{0.12, 1}}, {"moderate, covered in time", 3, 120, 100,
			fate{0.1, 1}}, {"moderate, covered in the rain", 3, 120, 170, fate{0.5, 1}},
		{"moderate, covered after it", 3, 120, 190, fate{1, 1}}, {"heavy, covered in time", 9, 120, 100, fate{1, 1}},
		{"covered for nothing", 0, 120, 100, fate{0, harm.MarkedByCover}},
	} {
		x := *s
		truth := *s.truth
		w := truth.Members[0]
		w.RainMM = make([]float64, truth.Hours)
		truth.Members = append(truth.Members[:0:0], w)
		x.truth = &truth
		w.RainMM[int(placed+c.at)/60] = c.rain
		p := padRun{place0: placed, place1: placed + 60, fin0: placed + 150, fin1: placed + 170, coverOn: placed +
			c.cover, slab: slab{initial: 300, final: 450}}
		if got := x.judge(&p, Powers{Covers: 6}); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
	p := padRun{place0: placed, coverOn: never, slab: slab{initial: 300, freezes: true}}
	if got := s.judge(&p, Powers{}); got.lost != 1 {
		t.Errorf("a frozen slab: %+v", got)
	}
}

// Trying every number of pads at every start, not only the longest safe runs,
// finds nothing better.
func TestForesightLeavesNothingOut(t *testing.T) {
	p := Powers{}
	s := site(t)
	f := newForesight(s, p)
	for _, d := range []int{130, 171, 248} {
		memo := map[int]map[key]float64{}
		var all func(day int, st state, left int) float64
		all = func(day int, st state, left int) float64 {
			if st.done == allDone {
				return 0
			}
			if left == 0 {
				return math.Inf(1)
			}
			k := s.keyAt(day, &st)
			if memo[day] == nil {
				memo[day] = map[key]float64{}
			}
			if v, ok := memo[day][k]; ok {
				return v
			}
			best := 1 + all(day+1, st, left-1)
			pads := st.open(s.days[day].shut)
			for start := s.days[day].open; start < s.days[day].shut && len(pads) > 0; start += 2 * startStep {
				for _, order := range []workOrder{finishFirst, placeFirst} {
					want := dayPlan{start: start, pads: pads}
					most := len(s.play(day, &st, want, nil, p, order).pads)
					for n := 1; n <= most; n++ {
						want.pads = pads[:n]
						run := s.play(day, &st, want, nil, p, order)
						if harmless(&run) < len(run.pads) {
							continue
						}
						inspect := 0.0
						for i := range run.pads {
							inspect += harm.InspectDays * run.pads[i].fate.inspect
						}
						next := st
						next.settle(&run, func(int) float64 { return 1 })
						best = min(best, 1+inspect+all(day+1, next, left-1))
					}
				}
			}
			memo[day][k] = best
			return best
		}
		got, want := f.best(d), all(d, state{}, 4)
		if l := f.cost.loss(got); l > want+1e-9 {
			t.Errorf("from day %d: foresight loses %.3f, a full search %.3f", d, l, want)
		}
	}
}

// A job that no weather lets finish is given up by perfect foresight as by everybody.
func TestForesightGivesUpWhatCannotBeFinished(t *testing.T) {
	s := site(t)
	f := newForesight(s, Powers{})
	last := len(s.days) - 1
	if a := f.best(last); !math.IsInf(a.days, 1) {
		t.Fatalf("a job begun on the last day known is finished: %+v", a)
	}
	if got := f.bestWithin(last); got != (answer{days: longestJob}) {
		t.Errorf("given up: %+v", got)
	}
	if got, want := f.bestWithin(171), f.best(171); got != want {
		t.Errorf("a job that can be finished: %+v, not %+v", got, want)
	}
}

// Nobody does better than foresight, nobody breaks the crew's rules, and the
// same policy meets the same luck. It is the back-test in short.
func TestNobodyBeatsForesight(t *testing.T) {
	r, err := newYork()
	if err != nil {
		t.Fatal(err)
	}
	l, err := lessons()
	if err != nil {
		t.Fatal(err)
	}
	one := *r
	one.Stations = r.Stations[1:2]
	outs, err := RunRegion(context.Background(), &one, l, Tables()[:2], 8, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range outs {
		table := o.Table
		if len(o.Cases) < 7 {
			t.Fatalf("%d jobs", len(o.Cases))
		}
		for i, name := range o.Policies {
			loss, best := 0.0, 0.0
			for k := range o.Cases {
				loss += o.Costs.loss(o.Cases[k].Runs[i].answer())
				best += o.Costs.loss(o.Cases[k].Best)
			}
			if loss < best-1 {
				t.Errorf("%s, %s loses %.2f over %d jobs, perfect foresight %.2f", table.Name, name, loss, len(o.Cases),
					best)
			}
			for _, f := range o.Tallies[i].Faults {
				t.Errorf("%s, %s: %s", table.Name, name, f)
			}
		}
		if p := o.Tallies[o.index("planner")]; len(p.Stated) < 40 || p.Asked < len(o.Cases) {
			t.Errorf("%s: the planner decided %d mornings and chose %d pads", table.Name, p.Asked, len(p.Stated))
		}
		var b bytes.Buffer
		if err := errors.Join(Print(&b, []*Outcome{o}), Figures(&b, [][]*Outcome{{o}})); err != nil {
			t.Fatal(err)
		}
		suffix := table.suffix()
		for _, want := range []string{"regret_planner" + suffix + ":", "regret_equal_rule" + suffix + "_newyork:",
			"lost_over_stated" + suffix + "_low:"} {
			if !strings.Contains(b.String(), "\n"+want) {
				t.Errorf("%s: no line %q", table.Name, want)
			}
		}
	}
}

func TestOldRulesNeverStopAndOthersDo(t *testing.T) {
	m := &moment{setUp: true, seen: emulate.Seen{Raining: true}}
	for _, who := range rules() {
		want := Stop
		switch r := who.(rule); {
		case r.old:
			want = Place
		case r.waits:
			want = Wait
		}
		if got := who.Next(m); got != want {
			t.Errorf("%s in the rain: %v, want %v", who.Name(), got, want)
		}
	}
	for _, learnt := range []bool{false, true} {
		p := &shipped{learned: learnt}
		if p.Next(m) != Stop || p.Next(&moment{}) != Place {
			t.Error("the planner stops at the first rain, and only then")
		}
	}
}
