// Command run measures the planner against rules of thumb and perfect
// foresight on a folder of hourly station records, with emulated forecasts.
//
//	go run ./internal/measure/backtest/run -weather testdata/weather
//
// The last lines it prints are the figures, the main table's means over regions
// at the end.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"dryslot/internal/measure/backtest"
	"dryslot/internal/measure/emulate"
	"dryslot/internal/place"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var o options
	flag.StringVar(&o.weather, "weather", "testdata/weather", "folder of NAME_hourly.csv[.gz] and REGION_stations.csv")
	flag.StringVar(&o.what, "what", "policies",
		"policies: the back-test; forecasts: how far emulated and drawn chances can be believed")
	flag.IntVar(&o.jobs, "jobs", 40, "jobs a region, taken evenly; 0: every start date")
	flag.StringVar(&o.tables, "tables", "", "only these tables, separated by commas; empty: all")
	flag.StringVar(&o.regions, "regions", "", "only these regions, separated by commas; empty: all")
	flag.Parse()
	if err := run(ctx, os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

type options struct {
	weather, what, tables, regions string
	jobs                           int
}

func run(ctx context.Context, w io.Writer, o options) error {
	debug.SetGCPercent(200) // many small answers are kept; collect less often
	began := time.Now()
	var only []string
	if o.regions != "" {
		only = strings.Split(o.regions, ",")
	}
	regions, err := emulate.Load(os.DirFS(o.weather), zoneOf, only...)
	if err != nil {
		return fmt.Errorf("%s: %w", o.weather, err)
	}
	if o.what == "forecasts" {
		return forecasts(w, regions)
	}
	lessons := make([]*backtest.Lessons, len(regions))
	for i, r := range regions {
		if err := reached(w, r); err != nil {
			return err
		}
		lessons[i] = backtest.Learn(r)
	}
	tables := backtest.Tables()
	if o.tables != "" {
		names := strings.Split(o.tables, ",")
		tables = slices.DeleteFunc(tables, func(t backtest.Table) bool { return !slices.Contains(names, t.Name) })
	}
	all := make([][]*backtest.Outcome, len(tables)) // by table and region
	for i, r := range regions {
		outs, err := backtest.RunRegion(ctx, r, lessons[i], tables, o.jobs, runtime.GOMAXPROCS(0))
		if err != nil {
			return err
		}
		for t := range all {
			all[t] = append(all[t], outs[t])
		}
		if _, err := fmt.Fprintf(w, "%s: done after %.0f s\n", r.Name, time.Since(began).Seconds()); err != nil {
			return err
		}
	}
	for _, outs := range all {
		if err := backtest.Print(w, outs); err != nil {
			return err
		}
	}
	if _, err := fmt.Fprintf(w, "\nall of it on emulated forecasts, in %.0f s\n\n",
		time.Since(began).Seconds()); err != nil {
		return err
	}
	return backtest.Figures(w, all)
}

func zoneOf(lat, lon float64) (*time.Location, error) {
	name, err := place.Zone(lat, lon)
	if err != nil {
		return nil, err
	}
	return time.LoadLocation(name)
}

// reached writes the skills that a region's emulated forecasts have.
func reached(w io.Writer, r *emulate.Region) error {
	for i, t := range r.Reached {
		_, err := fmt.Fprintf(
			w,
			"%s: forecast skill %3.0f h ahead of noon: wanted %.3f, fitted %.3f, on other days %.3f\n",
			r.Name,
			t.LeadH,
			emulate.Targets[i].Skill,
			t.Skill,
			r.Held[i].Skill,
		)
		if err != nil {
			return err
		}
	}
	for _, note := range r.Notes {
		if _, err := fmt.Fprintf(w, "%s: note: %s\n", r.Name, note); err != nil {
			return err
		}
	}
	return nil
}

func forecasts(w io.Writer, regions []*emulate.Region) error {
	for _, r := range regions {
		if err := r.Measure(7, 1).Print(w); err != nil {
			return err
		}
		if err := r.MeasureNowcast(3).Print(w, r.Name); err != nil {
			return err
		}
	}
	return nil
}
