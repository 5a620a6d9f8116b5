// Command run measures the service under load: many projects on many cells in
// a real PostgreSQL, whose forecasts fall due all at once, with a provider
// on this machine that fails now and then and checks its own limits. Workers
// are processes of their own, wired as the service is. Figures come last, one
// a line.
//
//	go run ./internal/measure/load/run -projects 20000 -cells 2000
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"runtime/pprof"
	"syscall"
	"time"

	"dryslot/internal/app"
	"dryslot/internal/config"
	"dryslot/internal/forecast"
	"dryslot/internal/measure/load"
	"dryslot/internal/pour"
)

// options say how much of everything.
type options struct {
	projects, cells, workers int
	within                   time.Duration // for all to be fresh
	planning                 time.Duration // for planning, counted from the same start
	errors, hangs            float64
	ensemble, paid           bool
	profile                  string
	largest, underWay, abuse bool
	short                    bool   // a run so small that its ratios tell nothing
	pads                     int    // of each of the largest projects
	hooks                    string // where alerts go, of projects under way
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	if len(args) > 0 && args[0] == "worker" {
		return work(ctx, args[1:])
	}
	if len(args) > 0 && args[0] == "serve" {
		return start(ctx, app.Options{Serve: true})
	}
	var o options
	f := flag.NewFlagSet("load", flag.ContinueOnError)
	f.IntVar(&o.projects, "projects", 10000, "projects in all")
	f.IntVar(&o.cells, "cells", 500, "cells that they lie on")
	f.IntVar(&o.workers, "workers", 2, "worker processes on the one database")
	f.DurationVar(&o.within, "within", 10*time.Minute, "time for every cell to be fresh")
	f.DurationVar(&o.planning, "planning", 45*time.Minute, "time for planning, from the same start")
	f.Float64Var(&o.errors, "errors", 0.05, "share of requests answered with an error")
	f.Float64Var(&o.hangs, "hangs", 0.02, "share of requests never answered")
	f.StringVar(&o.profile, "profile", "", "file for a CPU profile of the first worker")
	f.BoolVar(&o.largest, "largest", false,
		"measure the largest valid projects instead; -projects says how many are posted at once")
	f.BoolVar(&o.underWay, "under-way", false,
		"measure instead how long a message takes that soft concrete is at risk; -projects says how many are under way")
	f.BoolVar(&o.abuse, "abuse", false,
		"measure instead what one account's abuse does to another's; -projects says how much of everything")
	f.IntVar(&o.pads, "pads", pour.MaxPads, "pads of each of the largest projects")
	f.BoolVar(&o.paid, "paid", true, "ask with a key, within a paid plan's limits")
	f.BoolVar(&o.ensemble, "ensemble", false, "ask for the ensemble too")
	if len(args) > 0 && args[0] == "provider" {
		if err := f.Parse(args[1:]); err != nil {
			return err
		}
		return provide(ctx, o)
	}
	if err := f.Parse(args); err != nil {
		return err
	}
	if o.largest {
		return measureLargest(ctx, o.pads, o.projects)
	}
	if o.cells < 1 || o.projects < o.cells || o.workers < 1 {
		return errors.New("there must be a worker, a cell, and a project on each cell")
	}
	if o.abuse {
		return measureAbuse(ctx, o)
	}
	if o.underWay {
		return measureLatency(ctx, o)
	}
	return measure(ctx, o)
}

// work is one worker, wired by the environment as the service's own is.
func work(ctx context.Context, args []string) error {
	f := flag.NewFlagSet("worker", flag.ContinueOnError)
	profile := f.String("profile", "", "file for a CPU profile")
	if err := f.Parse(args); err != nil {
		return err
	}
	if *profile != "" {
		file, err := os.Create(*profile)
		if err != nil {
			return err
		}
		defer file.Close()
		if err := pprof.StartCPUProfile(file); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
	}
	return start(ctx, app.Options{})
}

// start runs the service by the environment.
func start(ctx context.Context, o app.Options) error {
	cfg, err := config.Load(os.Getenv)
	if err != nil {
		return err
	}
	o.Out, o.Log = os.Stdout, slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	return app.Run(ctx, cfg, o)
}

// provide answers until it is stopped; its address is its first line.
func provide(ctx context.Context, o options) error {
	p := load.NewProvider(load.Config{Limits: limits(o.paid), Errors: o.errors, Hangs: o.hangs})
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	fmt.Println("http://" + l.Addr().String())
	srv := &http.Server{Handler: p, ReadHeaderTimeout: 10 * time.Second}
	go func() {
		<-ctx.Done()
		_ = srv.Close() // nothing is left to answer
	}()
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// limits are those that Open-Meteo states for its free service
// (https://open-meteo.com/en/terms), which the service keeps without a key. Of
// a paid plan one request at a time is left.
func limits(paid bool) forecast.Limits {
	if paid {
		return forecast.Limits{AtOnce: 1}
	}
	return forecast.Limits{AtOnce: 1, PerMinute: 600, PerHour: 5000, PerDay: 10000}
}
