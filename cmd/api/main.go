// Command api serves the JSON API and the pages, and, on one machine, works
// the queue beside them. `api demo` adds a token and a project to look at,
// `api migrate` and `api token` are for its operator, and `api help` lists them
// with the settings.
package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"dryslot/internal/app"
	"dryslot/internal/config"
	"dryslot/internal/logs"
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

const usage = `usage: api [command]; settings come from the environment.
  api               serve
  api demo          serve, with a token and a project to look at
  api migrate       bring the database up to date and end
  api backup FILE   write the whole database into a new file
  api restore FILE  fill an empty database from such a file
  api version       what this program was built from, and which database it needs
  api settings      show the settings in force, secrets hidden
  api token         list, make and revoke the tokens that open accounts; show and delete accounts:
`

func run(ctx context.Context, args []string) error {
	command := ""
	if len(args) > 0 {
		command = args[0]
	}
	if command == "help" {
		fmt.Println(usage + indented(app.TokenUsage+"\n"+app.AccountUsage) + "\nThe settings, with their defaults:\n")
		return config.Help(os.Stdout)
	}
	if command == "settings" && len(args) == 1 {
		return config.Settings(os.Stdout, os.Getenv)
	}
	if command == "version" && len(args) == 1 {
		return app.Version(os.Stdout)
	}
	// arguments, itself too
	takes, known := map[string]int{"": 0, "demo": 1, "migrate": 1, "backup": 2, "restore": 2}[command]
	if command != "token" && command != "account" && (!known || len(args) != takes) {
		return errors.New(strings.TrimSpace(usage + indented(app.TokenUsage+"\n"+app.AccountUsage)))
	}
	cfg, err := config.Load(os.Getenv)
	if err != nil {
		return err
	}
	level := cfg.LogLevel
	if command != "" {
		level = max(level, slog.LevelWarn) // what it prints is for people
	}
	log := logs.New(os.Stderr, cfg.LogForm, level)
	switch command {
	case "migrate":
		return app.Migrate(ctx, cfg, os.Stdout, log)
	case "backup":
		return app.Backup(ctx, cfg, args[1], os.Stdout, log)
	case "restore":
		return app.Restore(ctx, cfg, args[1], os.Stdout, log)
	case "account":
		return app.Accounts(ctx, cfg, args[1:], os.Stdout, log)
	case "token":
		return app.Tokens(ctx, cfg, args[1:], os.Stdout, log)
	}
	return app.Run(ctx, cfg, app.Options{Serve: true, Demo: command == "demo", Out: os.Stdout, Log: log})
}

func indented(text string) string {
	return "    " + strings.ReplaceAll(text, "\n", "\n    ") + "\n"
}
