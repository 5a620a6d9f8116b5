package backtest

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/measure/emulate"
	"dryslot/internal/unit"
)

// newYork is the committed record of one city, read once: it is not changed.
var newYork = sync.OnceValues(func() (*emulate.Region, error) {
	rs, err := emulate.Load(os.DirFS("../../../testdata/weather"), func(_, lon float64) (*time.Location, error) {
		if lon < -30 {
			return time.LoadLocation("America/New_York")
		}
		return time.LoadLocation("Europe/Dublin")
	}, "newyork_2013")
	if err != nil {
		return nil, err
	}
	for _, r := range rs {
		if r.Name == "newyork" {
			return r, nil
		}
	}
	return nil, os.ErrNotExist
})

func site(t testing.TB) *Site {
	t.Helper()
	r, err := newYork()
	if err != nil {
		t.Fatal(err)
	}
	s, err := NewSite(r.Stations[1], emulate.NewService(r, 3))
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
	for _, date := range []unit.Date{{Year: 2013, Month: 4, Day: 10}, {Year: 2013, Month: 6, Day: 21}, {Year: 2013, Month: 11, Day: 5}} {
		got, err := lightOf(date, 40.7, -74, ny)
		if err != nil {
			t.Fatal(err)
		}
		want, err := daylight.Of(date, 40.7, -74, ny)
		if err != nil {
			t.Fatal(err)
		}
		for name, d := range map[string]time.Duration{"first light": got.FirstLight.Sub(want.FirstLight), "sunrise": got.Sunrise.Sub(want.Sunrise),
			"sunset": got.Sunset.Sub(want.Sunset), "last light": got.LastLight.Sub(want.LastLight)} {
			if d.Abs() > time.Minute {
				t.Errorf("%s: %s is %v off", date, name, d)
			}
		}
	}
}

// Any day that the crew works passes the independent checker, and a longer
// list of pads never makes it do fewer.
func TestACrewDayKeepsTheRules(t *testing.T) {
	s := site(t)
	rnd := rand.New(rand.NewPCG(1, 5))
	worked := 0
	for range 300 {
		d := 100 + rnd.IntN(230)
		var st state
		for c := range columns {
			if rnd.IntN(2) == 0 {
				st.done |= 1 << c
				st.when[c] = s.days[d].open - 24*60 + 60*float64(c)
				st.strip[c] = st.when[c] + 600 + 1200*rnd.Float64()
			}
		}
		pads := st.open(s.days[d].shut)
		if len(pads) == 0 || !s.days[d].usable {
			continue
		}
		order := workOrder(rnd.IntN(2))
		run := s.crewDay(d, s.days[d].open+30*float64(rnd.IntN(12)), pads, &st, order, nil)
		var tally Tally
		s.checkDay(&tally, d, &run, &st)
		for _, f := range tally.Faults {
			t.Errorf("day %d: %s", d, f)
		}
		if len(run.pads) > 0 {
			worked++
		}
		if n := len(run.pads); n > 0 {
			fewer := s.crewDay(d, run.start, pads[:n], &st, order, nil)
			if len(fewer.pads) != n {
				t.Errorf("day %d: asked for the %d pads that it did, it does %d", d, n, len(fewer.pads))
			}
		}
	}
	if worked < 150 {
		t.Errorf("only %d days were worked", worked)
	}
}

func TestTheCheckerSeesABrokenDay(t *testing.T) {
	s := site(t)
	var st state
	const d = 160
	run := s.crewDay(d, s.days[d].open, st.open(s.days[d].shut), &st, finishFirst, nil)
	if len(run.pads) < 2 {
		t.Fatalf("%d pads on an ordinary day", len(run.pads))
	}
	run.pads[1].place0, run.pads[1].place1 = run.pads[1].place0-55, run.pads[1].place1-55
	var tally Tally
	s.checkDay(&tally, d, &run, &st)
	if len(tally.Faults) == 0 {
		t.Error("one person placed two pads at once and the checker says nothing")
	}
}

func TestRainIsJudgedByHourAndState(t *testing.T) {
	s := site(t)
	for _, c := range []struct {
		name       string
		rain, want float64
		at         float64 // minutes after placing
	}{
		{"dry", 0.2, 0, 60}, {"light before finishing", 0.3, marsChance, 60}, {"light after finishing", 0.3, 0, 215},
		{"heavy before set", 2.5, 1, 215}, {"heavy after set", 9, 0, 301}, {"unknown", math.NaN(), 1, 60},
	} {
		x := *s
		truth := *s.truth
		w := truth.Members[0]
		w.RainMM = make([]float64, truth.Hours)
		truth.Members = append(truth.Members[:0:0], w)
		x.truth = &truth
		const placed = 4000 * 60
		w.RainMM[int(placed+c.at)/60] = c.rain
		p := padRun{place0: placed, place1: placed + 60, fin0: placed + 150, fin1: placed + 170, slab: slab{initial: 300, final: 450}}
		if x.judge(&p); p.harm != c.want {
			t.Errorf("%s: harm %v, want %v", c.name, p.harm, c.want)
		}
	}
	p := padRun{place0: 4000 * 60, fin1: 4000*60 + 100, slab: slab{initial: 300, freezes: true}}
	if s.judge(&p); p.harm != 1 {
		t.Errorf("a frozen slab has harm %v", p.harm)
	}
}

// Trying every number of pads at every start, not only the longest safe runs,
// finds nothing better.
func TestForesightLeavesNothingOut(t *testing.T) {
	s := site(t)
	f := newForesight(s)
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
			k := f.keyOf(day, &st)
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
					most := len(s.crewDay(day, start, pads, &st, order, nil).pads)
					for n := 1; n <= most; n++ {
						run := s.crewDay(day, start, pads[:n], &st, order, nil)
						safe := true
						for i := range run.pads {
							safe = safe && run.pads[i].harm == 0
						}
						if safe {
							next := st
							next.settle(&run, nil)
							best = min(best, 1+all(day+1, next, left-1))
						}
					}
				}
			}
			memo[day][k] = best
			return best
		}
		got, want := f.best(d), all(d, state{}, 4)
		if l := got.loss(3); l > want+1e-9 {
			t.Errorf("from day %d: foresight loses %.3f, a full search %.3f", d, l, want)
		}
	}
}

func TestNobodyBeatsForesight(t *testing.T) {
	s := site(t)
	starts := s.starts(Options{Season: Main, Every: 12})
	f := newForesight(s)
	best := 0.0
	for _, d := range starts {
		best += f.best(d).loss(3)
	}
	for _, p := range append(Rules(), NewPlanner(s)) {
		a, err := s.Run(p, starts)
		if err != nil {
			t.Fatal(err)
		}
		loss := 0.0
		for _, r := range a.Runs {
			loss += r.Loss(3)
		}
		if loss < best-1 {
			t.Errorf("%s loses %.2f over %d jobs, perfect foresight %.2f", p.Name(), loss, len(starts), best)
		}
		for _, x := range a.Faults {
			t.Errorf("%s: %s", p.Name(), x)
		}
		if p.Name() == "rule_30" {
			b, err := s.Run(p, starts)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(a.Runs, b.Runs) {
				t.Error("the same rule met other luck")
			}
		}
		if p.Name() == "planner" && (len(a.Stated) < 50 || a.Asked < len(starts)) {
			t.Errorf("the planner decided %d mornings and chose %d pads", a.Asked, len(a.Stated))
		}
	}
}

func TestRegretRatio(t *testing.T) {
	o := &Outcome{Region: "made", LostPadDays: 3, Policies: []string{"rule_20", "rule_30", "rule_30_stopping", "planner"}}
	rnd := rand.New(rand.NewPCG(2, 5))
	for i := range 400 {
		best := 2 + float64(rnd.IntN(3))
		late := float64(rnd.IntN(4))
		o.Cases = append(o.Cases, Case{Group: i % 5, DayOfYear: 100 + i/5, Best: best,
			Runs: []Run{{Days: best + 2*late + 2}, {Days: best + 2*late}, {Days: best}, {Days: best + late}}})
	}
	r := o.RegretRatio()
	if math.Abs(r.Value-0.5) > 1e-12 || math.Abs(r.Low-0.5) > 1e-9 || math.Abs(r.High-0.5) > 1e-9 || r.Rule != "rule_30" {
		t.Errorf("%+v, want one half against rule_30 whatever is drawn", r)
	}
	o.Cases[0].Runs[3].Lost = 30
	if x := o.RegretRatio(); !(x.Low < x.Value && x.Value < x.High && x.Value > 0.5) {
		t.Errorf("one bad job gives %+v", x)
	}
}

func TestHonesty(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 5))
	var good, bad Tally
	for range 4000 {
		p := 0.9 + 0.1*rnd.Float64()
		u := 0.0
		if rnd.Float64() < p {
			u = 1
		}
		good.Stated = append(good.Stated, Stated{p, u})
		bad.Stated = append(bad.Stated, Stated{(1 + p) / 2, u})
	}
	o := &Outcome{Tallies: []Tally{good, bad}}
	if h := o.Honest(0); h.Gap > 0.02 || math.Abs(h.Lost/h.Expected-1) > 0.2 || len(h.Bins) != 10 {
		t.Errorf("honest chances: %+v", h)
	}
	if h := o.Honest(1); h.Gap < 0.02 || h.Lost/h.Expected < 1.5 {
		t.Errorf("chances stated too high: %+v", h)
	}
}

func TestPrintedFigures(t *testing.T) {
	o := &Outcome{Region: "made", LostPadDays: 3, Policies: []string{"rule_30", "planner"}, Tallies: make([]Tally, 2)}
	for i := range 30 {
		o.Cases = append(o.Cases, Case{Station: "A", DayOfYear: 100 + i, Best: 2, BestDays: 2, Runs: []Run{{Days: 4, Finished: true}, {Days: 3, Finished: true}}})
	}
	o.Tallies[1].Stated = []Stated{{0.9, 1}, {0.9, 0}}
	var b bytes.Buffer
	if err := o.Print(&b); err != nil {
		t.Fatal(err)
	}
	if err := o.Figures(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"emulated forecasts", "regret_ratio_low_made: 0.5 ratio", "lost_over_expected_made: 5 ratio", "days_rule_30_made: 4 days"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}
