// Command rolling shows that this version of the service can take the place of
// an earlier one without a stop: it builds the earlier one from its commit, and
// lets both serve, plan and send alerts side by side on one PostgreSQL, against a
// feed and a webhook on this machine. Whatever one of them writes the other has
// to read. Figures come last, one a line.
//
//	go run ./internal/measure/rolling -before main~60
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"dryslot/internal/postgres/local"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	commit := flag.String("before", "", "commit of the earlier version")
	within := flag.Duration("within", 10*time.Minute, "time for all of it, builds included")
	flag.Parse()
	ctx, cancel := context.WithTimeout(ctx, *within)
	defer cancel()
	if err := run(ctx, *commit); err != nil {
		fmt.Fprintln(os.Stderr, "rolling:", err)
		os.Exit(1)
	}
}

// run sets both versions up, lets them work, and prints what came of it. Its
// error joins everything that went wrong.
func run(ctx context.Context, commit string) (err error) {
	if commit == "" {
		return errors.New("-before must name the commit of the earlier version")
	}
	dir, err := os.MkdirTemp("", "dryslot-rolling-")
	if err != nil {
		return err
	}
	if err := os.Chmod(dir, 0o711); err != nil { // the server's user has to pass when run by root
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	older := version{name: "before", dir: filepath.Join(dir, "before")}
	newer := version{name: "now", dir: filepath.Join(dir, "now")}
	if err := errors.Join(build(ctx, commit, older.dir), compile(ctx, ".", newer.dir)); err != nil {
		return err
	}
	server, err := local.Start(ctx, local.Options{DataDir: dir, Spare: dir, Throwaway: true})
	if err != nil {
		return err
	}
	defer func() {
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
		defer cancel()
		err = errors.Join(err, server.Stop(end))
	}()
	outside, err := openOutside(ctx)
	if err != nil {
		return err
	}
	defer outside.close()
	env := append(outside.env(), "DATABASE_URL="+server.URL())
	older.env, newer.env, older.clock, newer.clock = env, env, outside.now, outside.now
	older.owner, newer.owner = server.MigrateURL(), server.MigrateURL()
	u := &upgrade{before: &older, now: &newer, outside: outside}
	defer func() { err = errors.Join(err, older.stop(), newer.stop()) }()
	err = u.play(ctx)
	if err != nil {
		fmt.Printf("the version before said last:\n%s\nthis version said last:\n%s\n", older.last(), newer.last())
	}
	u.print()
	return err
}
