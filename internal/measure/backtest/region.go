package backtest

import (
	"context"
	"fmt"
	"sync"

	"dryslot/internal/measure/emulate"
)

// Season is a span of start dates, days of the year, both counted.
type Season struct {
	Name     string
	From, To int
}

// The seasons measured: the pouring season, and an autumn with frost as the
// main harm.
var (
	Main   = Season{"april to october", 100, 290}
	Autumn = Season{"autumn", 290, 330}
)

// Options says how much is run.
type Options struct {
	Season  Season
	Every   int // every n-th start date; 1: all
	Workers int // stations at a time
}

// Case is one job at one station under every policy.
type Case struct {
	Station   string
	Group     int // stations that count as one
	DayOfYear int
	Best      float64 // loss of perfect foresight
	BestDays  float64
	BestLost  float64
	Runs      []Run // by policy
}

// Outcome is what a region's jobs came to.
type Outcome struct {
	Region      string
	Season      Season
	Every       int
	LostPadDays float64
	Policies    []string
	Cases       []Case
	Tallies     []Tally // by policy, without their runs
	Notes       []string
	Reached     []emulate.Target
}

// part is one station's share.
type part struct {
	cases   []Case
	tallies []Tally
	err     error
}

// RunRegion runs the job at every station of a region.
func RunRegion(ctx context.Context, r *emulate.Region, o Options) (*Outcome, error) {
	out := &Outcome{Region: r.Name, Season: o.Season, Every: o.Every, Notes: r.Notes, Reached: r.Reached}
	parts := make([]part, len(r.Stations))
	service := emulate.NewService(r, 2)
	next := make(chan int)
	var wg sync.WaitGroup
	for range max(1, o.Workers) {
		wg.Go(func() {
			for i := range next {
				parts[i] = runStation(ctx, service, r.Stations[i], o)
			}
		})
	}
	for i := range r.Stations {
		next <- i
	}
	close(next)
	wg.Wait()
	for i := range parts {
		p := &parts[i]
		if p.err != nil {
			return nil, fmt.Errorf("backtest: %s: %w", r.Stations[i].Station, p.err)
		}
		out.Cases = append(out.Cases, p.cases...)
		for k, t := range p.tallies {
			if k == len(out.Tallies) {
				out.Tallies = append(out.Tallies, Tally{Policy: t.Policy})
				out.Policies = append(out.Policies, t.Policy)
			}
			out.Tallies[k].add(&t)
		}
	}
	out.LostPadDays = jobSpec("", 0, 0, 0, "UTC").Limits.LostPadDays
	return out, nil
}

func (t *Tally) add(o *Tally) {
	t.Stated = append(t.Stated, o.Stated...)
	t.Faults = append(t.Faults, o.Faults...)
	t.Days, t.Changed, t.Asked = t.Days+o.Days, t.Changed+o.Changed, t.Asked+o.Asked
}

func runStation(ctx context.Context, service *emulate.Service, st *emulate.Station, o Options) part {
	s, err := NewSite(st, service)
	if err != nil {
		return part{err: err}
	}
	starts := s.starts(o)
	var p part
	best := newForesight(s)
	for _, d := range starts {
		a := best.best(d)
		p.cases = append(p.cases, Case{Station: st.Station, Group: st.Group, DayOfYear: st.DayOfYear(d),
			Best: a.loss(best.lost), BestDays: a.days, BestLost: a.lost})
	}
	best = nil //nolint:ineffassign // its memory is large and no longer wanted
	for _, policy := range append(Rules(), NewPlanner(s)) {
		if err := ctx.Err(); err != nil {
			return part{err: err}
		}
		t, err := s.Run(policy, starts)
		if err != nil {
			return part{err: err}
		}
		for k, run := range t.Runs {
			p.cases[k].Runs = append(p.cases[k].Runs, run)
		}
		t.Runs = nil
		p.tallies = append(p.tallies, t)
	}
	return p
}

// starts are the dates of a season that the record can follow to the job's
// end, evenly taken.
func (s *Site) starts(o Options) []int {
	var out []int
	for d := 2; d+longestJob < len(s.days); d++ {
		if y := s.Station.DayOfYear(d); y >= o.Season.From && y <= o.Season.To && y%max(1, o.Every) == 0 && s.days[d].usable {
			out = append(out, d)
		}
	}
	return out
}
