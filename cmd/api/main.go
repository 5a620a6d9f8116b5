// Command api serves the JSON API and the pages, and, on one machine, works
// the queue beside them. `api demo` adds a token and a project to look at,
// `api help` lists the settings.
package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"syscall"

	"dryslot/internal/app"
	"dryslot/internal/config"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends it at once
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "api:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	demo := len(args) == 1 && args[0] == "demo"
	if len(args) == 1 && args[0] == "help" {
		fmt.Println("usage: api [demo | help]. Settings come from the environment:")
		return config.Help(os.Stdout)
	}
	if len(args) > 0 && !demo {
		return fmt.Errorf("usage: api [demo | help]; settings come from the environment")
	}
	cfg, err := config.Load(os.Getenv)
	if err != nil {
		return err
	}
	level := slog.LevelInfo
	if demo {
		level = slog.LevelWarn
	}
	log := slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: level}))
	return app.Run(ctx, cfg, app.Options{Serve: true, Demo: demo, Out: os.Stdout, Log: log})
}
