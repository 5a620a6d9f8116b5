// Command run measures the planner against rules of thumb and perfect
// foresight on a folder of hourly station records, with emulated forecasts.
//
//	go run ./internal/backtest/run -weather testdata/weather
//
// The last lines it prints are the regret ratios, region by region.
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
	"time"

	"dryslot/internal/backtest"
	"dryslot/internal/emulate"
	"dryslot/internal/place"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var o options
	flag.StringVar(&o.weather, "weather", "testdata/weather", "folder of NAME_hourly.csv[.gz] and REGION_stations.csv")
	flag.StringVar(&o.what, "what", "policies", "policies: the back-test; forecasts: how far emulated and drawn chances can be believed")
	flag.IntVar(&o.jobs, "jobs", 1400, "about how many jobs to run in each region: start dates are taken evenly")
	flag.Parse()
	if err := run(ctx, os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

type options struct {
	weather, what string
	jobs          int
}

func run(ctx context.Context, w io.Writer, o options) error {
	debug.SetGCPercent(200) // many small answers are kept; collect less often
	regions, err := emulate.Load(os.DirFS(o.weather), zoneOf)
	if err != nil {
		return fmt.Errorf("%s: %w", o.weather, err)
	}
	if o.what == "forecasts" {
		return forecasts(w, regions)
	}
	began := time.Now()
	var main []*backtest.Outcome
	for _, r := range regions {
		for _, season := range []backtest.Season{backtest.Autumn, backtest.Main} {
			opt := backtest.Options{Season: season, Every: every(len(r.Stations), season, o.jobs), Workers: runtime.GOMAXPROCS(0)}
			out, err := backtest.RunRegion(ctx, r, opt)
			if err != nil {
				return err
			}
			if err := out.Print(w); err != nil {
				return err
			}
			if season == backtest.Main {
				main = append(main, out)
			}
		}
	}
	if _, err := fmt.Fprintf(w, "\nall of it on emulated forecasts, in %.0f s\n\n", time.Since(began).Seconds()); err != nil {
		return err
	}
	for _, out := range main {
		if err := out.Figures(w); err != nil {
			return err
		}
	}
	for _, out := range main {
		if _, err := fmt.Fprintf(w, "regret_ratio_%s: %.3f ratio\n", out.Region, out.RegretRatio().Value); err != nil {
			return err
		}
	}
	return nil
}

// every returns how many start dates apart jobs begin so that about so many
// are run; an autumn takes a quarter of them.
func every(stations int, s backtest.Season, jobs int) int {
	if s == backtest.Autumn {
		jobs /= 4
	}
	return max(1, (stations*(s.To-s.From+1)+jobs-1)/jobs)
}

func zoneOf(lat, lon float64) (*time.Location, error) {
	name, err := place.Zone(lat, lon)
	if err != nil {
		return nil, err
	}
	return time.LoadLocation(name)
}

func forecasts(w io.Writer, regions []*emulate.Region) error {
	for _, r := range regions {
		if err := r.Measure(7, 1).Print(w); err != nil {
			return err
		}
	}
	return nil
}
