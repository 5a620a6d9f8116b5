package backtest

import (
	"context"
	"fmt"
	"sync"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/measure/emulate"
	"dryslot/internal/planner/policy"
)

// Season is a span of start dates, days of the year, both counted. In the
// south an autumn's lies half a year away.
type Season struct {
	Name     string
	From, To int
	Autumn   bool
}

// The seasons measured: the pouring season, and an autumn with frost as the
// main harm.
var (
	Main   = Season{"days 100 to 290", 100, 290, false}
	Autumn = Season{"autumn, days 290 to 330", 290, 330, true}
)

// has reports whether a day of a station lies in the season.
func (s Season) has(st *emulate.Station, d int) bool {
	y := st.DayOfYear(d)
	if s.Autumn && st.Latitude < 0 {
		y = (y+181)%365 + 1
	}
	return y >= s.From && y <= s.To
}

// Table is one set of powers, in which rules, the planner and perfect foresight
// are compared.
type Table struct {
	Name     string
	Season   Season
	Powers   Powers
	FirstDay bool // with rows for a planner that has learned nothing, and for the plan of the evening kept to
}

// Tables returns those of the back-test, the main one first.
func Tables() []Table {
	honest := emulate.OrdinaryNowcast
	const sheets = 6
	return []Table{
		{"main", Main, Powers{Nowcast: honest}, true},
		{"covered", Main, Powers{Nowcast: honest, Covers: sheets}, false},
		{"covered_harsh", Main, Powers{Nowcast: honest, Covers: sheets, Harsh: true}, false},
		{"no_nowcast", Main, Powers{Nowcast: emulate.NoNowcast}, false},
		{"perfect_hour", Main, Powers{Nowcast: emulate.PerfectHour}, false},
		{"autumn", Autumn, Powers{Nowcast: honest}, false},
		{"autumn_blankets", Autumn, Powers{Nowcast: honest, Blankets: true}, false},
	}
}

// block is what counts as one in the bootstrap: 14 days of stations that share
// their weather.
type block struct {
	group, year, at int
}

// blockDays is the length of a bootstrap block, foldDays that of the blocks that
// a rule is chosen on and scored on, by turns.
const (
	blockDays = 14
	foldDays  = 28
)

func (s *Site) block(d int) block {
	return block{s.Station.Group, s.Station.Date(d).Year, s.Station.DayOfYear(d) / blockDays}
}

// Case is one job at one station under every policy.
type Case struct {
	Block block
	Fold  int // 0 or 1: which rules are chosen on it
	Best  answer
	Runs  []Run // by policy
}

// Trial is one job under the rules of thumb alone: what they are chosen by. The
// jobs that the planner plays are too few to tell 50 rules apart.
type Trial struct {
	Fold   int
	Losses []float64 // by policy, the rules first
}

// trialsPerJob is how many jobs the rules are chosen on for each that the planner
// plays, where there are start dates enough.
const trialsPerJob = 4

// Outcome is what a region's jobs came to in one table.
type Outcome struct {
	Region   string
	Table    Table
	Costs    costs
	Policies []string
	Cases    []Case
	Trials   []Trial
	Tallies  []Tally // by policy
}

// RunRegion runs the jobs of some tables at every station of a region: about so
// many jobs a table, evenly taken; 0: every start date. It returns an outcome
// for each table.
func RunRegion(
	ctx context.Context,
	r *emulate.Region,
	l *Lessons,
	tables []Table,
	jobs, workers int,
) ([]*Outcome, error) {
	parts := make([][]*Outcome, len(r.Stations))
	errs := make([]error, len(r.Stations))
	next := make(chan int)
	var wg sync.WaitGroup
	for range max(1, workers) {
		wg.Go(func() {
			for i := range next {
				parts[i], errs[i] = runStation(ctx, r, i, l, tables, jobs)
			}
		})
	}
	for i := range r.Stations {
		next <- i
	}
	close(next)
	wg.Wait()
	out := make([]*Outcome, len(tables))
	for t := range tables {
		out[t] = &Outcome{Region: r.Name, Table: tables[t]}
		for i := range parts {
			if errs[i] != nil {
				return nil, fmt.Errorf("backtest: %s: %w", r.Stations[i].Station, errs[i])
			}
			out[t].join(parts[i][t])
		}
	}
	return out, nil
}

// join adds another station's outcome.
func (o *Outcome) join(x *Outcome) {
	o.Costs, o.Policies = x.Costs, x.Policies
	o.Cases = append(o.Cases, x.Cases...)
	o.Trials = append(o.Trials, x.Trials...)
	for k := range x.Tallies {
		if k == len(o.Tallies) {
			o.Tallies = append(o.Tallies, Tally{})
		}
		o.Tallies[k].add(&x.Tallies[k])
	}
}

// every returns the stride of start dates that gives about so many jobs.
func (s Season) every(stations, jobs int) int {
	if jobs <= 0 {
		return 1
	}
	return max(1, stations*(s.To-s.From+1)/jobs)
}

// station is one station's runs under way.
type station struct {
	site   [2]*Site // without blankets and with them; made when needed
	asked  [2]*asked
	best   map[Powers]*foresight
	region *emulate.Region
	number int // of the station in the region
	learnt *Lessons
	// library is where the belief of a day finds others: never in the region itself.
	library *belief.Library
}

func runStation(
	ctx context.Context,
	r *emulate.Region,
	i int,
	l *Lessons,
	tables []Table,
	jobs int,
) ([]*Outcome, error) {
	library, err := belief.Embedded()
	if err != nil {
		return nil, err
	}
	x := &station{best: map[Powers]*foresight{}, region: r, number: i, learnt: l, library: library.Without(r.Name)}
	of := make([]*tableRun, len(tables))
	for k, t := range tables {
		var err error
		if of[k], err = x.begin(ctx, t, jobs); err != nil {
			return nil, err
		}
	}
	// By start date, so that tables share what is drawn and planned.
	for d := range r.Stations[i].Days() {
		for _, a := range x.asked {
			if a != nil {
				a.forget(d)
			}
		}
		for _, t := range of {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if err := t.from(d); err != nil {
				return nil, err
			}
		}
	}
	out := make([]*Outcome, len(of))
	for k, t := range of {
		out[k] = t.out
	}
	return out, nil
}

// tableRun is one table at one station.
type tableRun struct {
	out     *Outcome
	site    *Site
	starts  map[int]bool
	trials  map[int]bool
	rules   int // of the players, the first
	best    *foresight
	players []player
	met     []map[decisionKey]bool // by player
}

func (x *station) begin(ctx context.Context, t Table, jobs int) (*tableRun, error) {
	b := 0
	if t.Powers.Blankets {
		b = 1
	}
	if x.site[b] == nil {
		s, err := NewSite(x.region.Stations[x.number], x.region, x.learnt, t.Powers.Blankets)
		if err != nil {
			return nil, err
		}
		x.site[b], x.asked[b] = s, newAsked(ctx, s)
	}
	s := x.site[b]
	seen := t.Powers
	seen.Nowcast = 0 // foresight needs none
	if x.best[seen] == nil {
		x.best[seen] = newForesight(s, seen)
	}
	plan := shipped{name: "planner_plan", learned: true, own: t.Powers, asked: x.asked[b]}
	of := rules()
	run := &tableRun{
		site:    s,
		starts:  map[int]bool{},
		trials:  map[int]bool{},
		rules:   len(of),
		best:    x.best[seen],
		players: append(of, x.byHour(&plan, "planner")),
		out:     &Outcome{Region: x.region.Name, Table: t, Costs: s.fullCosts()},
	}
	if t.FirstDay {
		first := plan
		first.learned = false
		run.players = append(run.players, x.byHour(&first, "planner_first_day"), &plan)
	}
	for _, who := range run.players {
		run.out.Policies = append(run.out.Policies, who.Name())
		run.out.Tallies = append(run.out.Tallies, Tally{})
		run.met = append(run.met, map[decisionKey]bool{})
	}
	stations := len(x.region.Stations)
	every := t.Season.every(stations, jobs)
	for _, d := range s.starts(t.Season, every, x.number*every/stations) {
		run.starts[d] = true
	}
	every = t.Season.every(stations, jobs*trialsPerJob)
	for _, d := range s.starts(t.Season, every, x.number*every/stations) {
		run.trials[d] = true
	}
	return run, nil
}

// byHour returns the planner that decides from hour to hour.
func (x *station) byHour(plan *shipped, name string) *byHour {
	h := &byHour{shipped: *plan, library: x.library, days: map[planKey]*policy.Workday{}}
	h.name = name
	return h
}

// from runs the job from a day on under the rules where it is a trial, and under
// every player where it is a start date.
func (t *tableRun) from(d int) error {
	s := t.site
	fold := s.Station.DayOfYear(d) / foldDays % 2
	if t.trials[d] {
		x := Trial{Fold: fold}
		for _, who := range t.players[:t.rules] {
			run, err := s.job(who, t.out.Table.Powers, d, nil, nil)
			if err != nil {
				return err
			}
			x.Losses = append(x.Losses, t.out.Costs.loss(run.answer()))
		}
		t.out.Trials = append(t.out.Trials, x)
	}
	if !t.starts[d] {
		return nil
	}
	c := Case{Block: s.block(d), Fold: fold, Best: t.best.bestWithin(d)}
	for i, who := range t.players {
		run, err := s.job(who, t.out.Table.Powers, d, &t.out.Tallies[i], t.met[i])
		if err != nil {
			return err
		}
		c.Runs = append(c.Runs, run)
	}
	t.out.Cases = append(t.out.Cases, c)
	return nil
}

// starts are the dates of a season that the record can follow to the job's
// end, every every-th from an offset on.
func (s *Site) starts(season Season, every, offset int) []int {
	var out []int
	for d := 2; d+longestJob < len(s.days); d++ {
		if season.has(s.Station, d) && (d+offset)%max(1, every) == 0 && s.days[d].usable {
			out = append(out, d)
		}
	}
	return out
}
