// Command run measures the planner against rules of thumb and perfect
// foresight on a folder of hourly station records, with emulated forecasts.
//
//	go run ./internal/measure/backtest/run -weather testdata/weather
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

	"dryslot/internal/measure/backtest"
	"dryslot/internal/measure/emulate"
	"dryslot/internal/place"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var o options
	flag.StringVar(&o.weather, "weather", "testdata/weather", "folder of NAME_hourly.csv[.gz] and REGION_stations.csv")
	flag.StringVar(&o.what, "what", "policies", "policies: the back-test; forecasts: how far emulated and drawn chances can be believed")
	flag.DurationVar(&o.within, "within", 7*time.Minute, "time to take: start dates are then taken evenly, as many as fit")
	flag.IntVar(&o.every, "every", 0, "take every so many start dates, whatever the time; 0: as many as fit")
	flag.Parse()
	if err := run(ctx, os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

type options struct {
	weather, what string
	within        time.Duration
	every         int
}

func run(ctx context.Context, w io.Writer, o options) error {
	debug.SetGCPercent(200) // many small answers are kept; collect less often
	began := time.Now()
	regions, err := emulate.Load(os.DirFS(o.weather), zoneOf)
	if err != nil {
		return fmt.Errorf("%s: %w", o.weather, err)
	}
	if o.what == "forecasts" {
		return forecasts(w, regions)
	}
	every := o.every
	if every == 0 {
		if every, err = strideFor(ctx, regions, o.within, began); err != nil {
			return err
		}
	}
	var main []*backtest.Outcome
	for _, r := range regions {
		for _, season := range []backtest.Season{backtest.Autumn, backtest.Main} {
			opt := backtest.Options{Season: season, Every: strideOf(r, season, every), Workers: runtime.GOMAXPROCS(0)}
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

// fewStations is how many stations a region has for which every start date is
// worth its time; of more, every stride-th.
const fewStations = 4

// strideOf thins a season's start dates: a region of few stations keeps three
// times as many of each, an autumn, which costs more a job, a third as many.
func strideOf(r *emulate.Region, s backtest.Season, every int) int {
	if len(r.Stations) <= fewStations {
		every = (every + 2) / 3
	}
	if s == backtest.Autumn {
		every *= 3
	}
	return every
}

// strides are those that are tried.
var strides = []int{1, 2, 3, 4, 6, 9, 13, 19, 28, 40}

// strideFor times a few jobs at one station of each region and returns the
// finest stride that should fit the time.
func strideFor(ctx context.Context, regions []*emulate.Region, within time.Duration, began time.Time) (int, error) {
	type cost struct{ station, job float64 } // seconds
	costs := make([]cost, len(regions))
	for i, r := range regions {
		one := *r
		one.Stations = r.Stations[:1]
		var took [2]float64
		var jobs [2]int
		for k, every := range []int{40, 15} {
			at := time.Now()
			out, err := backtest.RunRegion(ctx, &one, backtest.Options{Season: backtest.Main, Every: every, Workers: 1})
			if err != nil {
				return 0, err
			}
			took[k], jobs[k] = time.Since(at).Seconds(), len(out.Cases)
		}
		job := max(0.01, (took[1]-took[0])/float64(max(1, jobs[1]-jobs[0])))
		costs[i] = cost{max(0, took[0]-job*float64(jobs[0])), job}
	}
	left := (within - time.Since(began)).Seconds() * float64(runtime.GOMAXPROCS(0))
	for _, every := range strides {
		need := 0.0
		for i, r := range regions {
			for _, s := range []backtest.Season{backtest.Main, backtest.Autumn} {
				jobs := float64(len(r.Stations)*(s.To-s.From+1)) / float64(strideOf(r, s, every))
				need += float64(len(r.Stations))*costs[i].station + jobs*costs[i].job*longer(s)
			}
		}
		if need < left {
			return every, nil
		}
	}
	return strides[len(strides)-1], nil
}

// longer is how much longer a job of a season takes than one of the main
// season: an autumn's waits for many mornings.
func longer(s backtest.Season) float64 {
	if s == backtest.Autumn {
		return 4
	}
	return 1
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
		if err := r.MeasureNowcast(3).Print(w, r.Name); err != nil {
			return err
		}
	}
	return nil
}
