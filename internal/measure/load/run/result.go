package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"dryslot/internal/fault"
	"dryslot/internal/measure/load"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
)

// account is one account with its projects.
type account struct {
	id       string
	projects []string
}

// perAccount is how many projects an account has: a contractor with many.
const perAccount = 1000

// atOnce is how many projects are set up in one transaction.
const atOnce = 100

// settle keeps the projects, and watches their cells from now on.
func settle(ctx context.Context, store *postgres.Store, o options, now time.Time) ([]account, error) {
	cells := load.Cells(o.cells)
	accounts := make([]account, (o.projects+perAccount-1)/perAccount)
	work, inside := errgroup.WithContext(ctx)
	work.SetLimit(4)
	for i := range accounts {
		work.Go(func() error {
			id, err := store.EnsureToken(inside, tokenOf(i))
			if err != nil {
				return err
			}
			accounts[i].id = id
			accounts[i].projects, err = create(inside, store, id, cells, projectsOf(i, o), o, now)
			return err
		})
	}
	return accounts, work.Wait()
}

// create keeps the projects of an account, by their numbers, and watches their
// cells.
func create(ctx context.Context, store *postgres.Store, account string, cells [][2]float64, numbers []int,
	o options, now time.Time) (ids []string, err error) {
	for part := range slices.Chunk(numbers, atOnce) {
		err := store.InAccount(ctx, account, func(ctx context.Context, tx *postgres.AccountTx) error {
			for _, n := range part {
				spec := specOf(n, n/len(cells), cells[n%len(cells)])
				p, err := createOne(ctx, tx, pour.Project{Account: account, Spec: spec}, o, now)
				if err != nil {
					return err
				}
				ids = append(ids, p.ID)
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return ids, nil
}

// createOne keeps one project, with a day under way where the run asks for that.
func createOne(ctx context.Context, tx *postgres.AccountTx, p pour.Project, o options,
	now time.Time) (pour.Project, error) {
	if o.underWay { // a crew that can cover what it has placed
		p.Spec.Stock.Covers = []pour.Cover{{Kind: "plastic", Pads: len(p.Spec.Pads)}}
	}
	p, err := tx.CreateProject(ctx, p, now)
	if err != nil {
		return p, err
	}
	if o.underWay {
		if err := begin(ctx, tx, p, o.hooks, now); err != nil {
			return p, err
		}
	}
	return p, tx.WatchCell(ctx, place.CellOf(p.Spec.Latitude, p.Spec.Longitude), p.ID, now)
}

// tokenOf is the token of an account, by its number.
func tokenOf(account int) string { return fmt.Sprintf("a token of the load run, number %08d", account) }

// projectsOf returns the numbers of an account's projects in the order of their
// cells. WatchCell locks the cell until its transaction ends, so that accounts
// that are set up at the same time have to take cells in one order, or two of
// them may wait for each other (SQLSTATE 40P01).
func projectsOf(account int, o options) []int {
	var all []int
	for n := account * perAccount; n < min(o.projects, (account+1)*perAccount); n++ {
		all = append(all, n)
	}
	slices.SortStableFunc(all, func(a, b int) int { return cmp.Compare(a%o.cells, b%o.cells) })
	return all
}

// specOf is an invented job: four pads in a row, or twelve in alternate bays
// cast in two sets of forms. Of ten neighbours in a cell, six mix the usual bag
// and four something of their own.
func specOf(n, round int, at [2]float64) pour.Spec {
	s := pour.DefaultSpec()
	s.Name, s.Latitude, s.Longitude, s.TimeZone, s.Units = fmt.Sprintf("Yard %d", n), at[0], at[1], "Europe/Berlin",
		"metric"
	if round%10 >= 6 {
		s.Mix.WaterLPerBag += 0.1 * float64(round%10-5)
	}
	if (n+round)%2 == 0 {
		for i := range 4 {
			s.Pads = append(s.Pads, pour.Pad{Name: fmt.Sprintf("R%d", i+1), LengthM: 1, WidthM: 1, ThicknessM: 0.075,
				XM: float64(i)})
		}
		s.Normalize()
		return s
	}
	set := "F"
	s.FormSets = []pour.FormSet{{Name: set, Count: 6, Cells: 1}}
	name := func(row, col int) string { return fmt.Sprintf("%c%d", 'A'+row, col+1) }
	for row := range 2 {
		for col := range 6 {
			p := pour.Pad{Name: name(row, col), LengthM: 1.2, WidthM: 0.9, ThicknessM: 0.075, XM: 1.2 * float64(col),
				YM: 0.9 * float64(row), FormSet: &set}
			if (row+col)%2 == 1 { // an infill waits for its neighbours
				for _, d := range [...][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
					if r, c := row+d[0], col+d[1]; r >= 0 && r < 2 && c >= 0 && c < 6 {
						p.After = append(p.After, pour.After{Pad: name(r, c), Until: pour.Stripped})
					}
				}
			}
			s.Pads = append(s.Pads, p)
		}
	}
	s.Normalize()
	return s
}

// result is what the run came to.
type result struct {
	seen     load.Figures
	fresh    time.Duration // until all cells were; 0: never
	lasted   time.Duration
	cells    int // fresh at the end
	planned  int
	memoryMB []float64
	cpu      time.Duration // of the workers
}

// queued returns how many jobs are still to be done.
func (r *result) queued(ctx context.Context, store *postgres.Store) (int, error) {
	f, err := store.Figures(ctx, time.Now())
	if err != nil {
		return 0, err
	}
	waiting := 0
	for _, j := range f.Jobs {
		if !slices.Contains([]string{"completed", "cancelled", "discarded"}, j.State) {
			waiting += j.Count
		}
	}
	return waiting, nil
}

// freshCells counts the cells whose newest forecast was fetched in this run.
func freshCells(ctx context.Context, store *postgres.Store, o options, begun time.Time) (n int, err error) {
	err = store.InSystem(ctx, func(ctx context.Context, tx *postgres.SystemTx) error {
		for _, at := range load.Cells(o.cells) {
			c, err := tx.CellState(ctx, place.CellOf(at[0], at[1]))
			if err != nil {
				return err
			}
			if c.ForecastID != 0 && !c.LastTriedAt.Before(begun) && c.Failures == 0 {
				n++
			}
		}
		return nil
	})
	return n, err
}

// count looks at what was kept.
func (r *result) count(ctx context.Context, store *postgres.Store, o options, accounts []account) (err error) {
	if r.cells, err = freshCells(ctx, store, o, time.Now().Add(-r.lasted-time.Minute)); err != nil {
		return err
	}
	for _, a := range accounts {
		err := store.InAccount(ctx, a.id, func(ctx context.Context, tx *postgres.AccountTx) error {
			for _, p := range a.projects {
				k, err := tx.CurrentPlan(ctx, p)
				switch {
				case errors.Is(err, fault.NotFound):
				case err != nil:
					return err
				case k.ForecastID != 0:
					r.planned++
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// most is the memory that the workers may take together, in MB.
const most = 500

// print writes the figures, and returns what does not hold.
func (r *result) print(o options) error {
	lost := r.seen.Answered - r.seen.Repeated - r.cells // each answer of a cell is kept, or asked again
	memory := 0.0
	for _, m := range r.memoryMB {
		memory += m
	}
	rate := float64(r.planned) / r.lasted.Seconds()
	fmt.Println()
	fmt.Printf("projects: %d projects\n", o.projects)
	fmt.Printf("workers: %d processes\n", o.workers)
	fmt.Printf("cells_fresh: %d cells\n", r.cells)
	fmt.Printf("load_time: %.0f s\n", r.fresh.Seconds())
	fmt.Printf("requests: %d requests\n", r.seen.Requests)
	fmt.Printf("errors_answered: %d requests\n", r.seen.Errors)
	fmt.Printf("timeouts: %d requests\n", r.seen.Hangs)
	fmt.Printf("cells_fetched_twice: %d cells\n", r.seen.Repeated)
	fmt.Printf("forecasts_lost: %d forecasts\n", max(0, lost))
	fmt.Printf("most_at_once: %d requests\n", r.seen.MostAtOnce)
	fmt.Printf("most_in_a_minute: %.0f weights\n", r.seen.MostMinute)
	fmt.Printf("most_in_an_hour: %.0f weights\n", r.seen.MostHour)
	fmt.Printf("limit_breaches: %d breaches\n", r.seen.Breaches)
	fmt.Printf("memory_peak: %.0f MB\n", memory)
	fmt.Printf("workers_cpu: %.0f s\n", r.cpu.Seconds())
	fmt.Printf("projects_planned: %d projects\n", r.planned)
	fmt.Printf("plan_rate: %.1f projects/s\n", rate)
	if r.planned > 0 {
		fmt.Printf("workers_cpu_per_plan: %.0f ms\n", 1000*r.cpu.Seconds()/float64(r.planned))
	}
	fmt.Printf("planned_within_limit: %t bool\n", r.planned == o.projects)
	if rate > 0 {
		fmt.Printf("all_planned_after: %.0f s\n", float64(o.projects)/rate)
	}
	var bad []string
	for _, c := range [...]struct {
		broken bool
		what   string
	}{{r.cells < o.cells || r.fresh == 0 || r.fresh > o.within, "not every cell is fresh in time"},
		{r.seen.Breaches > 0, "limits were exceeded: " + strings.Join(r.seen.BreachNotes, "; ")},
		{r.seen.Repeated > 0, "cells were fetched more than once"}, {lost > 0, "forecasts were lost"},
		{memory > most, "the workers took too much memory"}} {
		if c.broken {
			bad = append(bad, c.what)
		}
	}
	if len(bad) > 0 {
		return errors.New(strings.Join(bad, "; "))
	}
	return nil
}
