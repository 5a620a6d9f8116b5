// Command worker fetches forecasts, plans and delivers alerts from the queue.
// Any number of them may run.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"dryslot/internal/app"
	"dryslot/internal/config"
	"dryslot/internal/logs"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends it at once
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "worker:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) error {
	if len(os.Args) > 1 {
		return fmt.Errorf("usage: worker; settings come from the environment")
	}
	cfg, err := config.Load(os.Getenv)
	if err != nil {
		return err
	}
	log := logs.New(os.Stderr, cfg.LogForm, cfg.LogLevel)
	return app.Run(ctx, cfg, app.Options{Out: os.Stdout, Log: log})
}
