package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"

	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/local"
)

// Backup writes the whole database into a new file, over the owner's
// connection. The service may go on meanwhile.
func Backup(ctx context.Context, cfg config.Config, file string, out io.Writer, log *slog.Logger) (err error) {
	in := &instance{cfg: cfg, log: log}
	defer func() { err = errors.Join(err, in.close()) }()
	owner, err := in.ownerURL(ctx)
	if err != nil {
		return err
	}
	if err := postgres.Backup(ctx, owner, file); err != nil {
		return err
	}
	info, err := os.Stat(file)
	if err != nil {
		return fmt.Errorf("app: the backup: %w", err)
	}
	_, err = fmt.Fprintf(out, "The database is in %s: %d bytes, with everybody's data. Keep it where only you can "+
		"read it.\n", file, info.Size())
	return err
}

// Restore fills an empty database from a backup and brings it up to date. A
// PostgreSQL of the service's own is made where DRYSLOT_DATA has none yet.
func Restore(ctx context.Context, cfg config.Config, file string, out io.Writer, log *slog.Logger) (err error) {
	if _, err := os.Stat(file); err != nil {
		return fault.Wrap(fault.NotFound, "the backup can't be read", err)
	}
	in := &instance{cfg: cfg, log: log}
	defer func() { err = errors.Join(err, in.close()) }()
	owner := cfg.MigrateURL.Reveal()
	if !cfg.DatabaseURL.IsSet() {
		if _, err := local.Running(cfg.DataDir); err == nil {
			return fault.New(fault.Conflict, "a service works on DRYSLOT_DATA: a backup is restored where there "+
				"is none")
		} else if !errors.Is(err, fault.NotFound) {
			return err
		}
		if err := in.startLocal(ctx); err != nil {
			return err
		}
		owner = in.local.MigrateURL()
	}
	if err := postgres.Restore(ctx, owner, file); err != nil {
		return err
	}
	was, err := postgres.Version(ctx, owner)
	if err != nil {
		return err
	}
	if err := in.database(ctx); err != nil {
		return err
	}
	now, err := postgres.Wanted()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "The database is restored from %s. It was at version %d and is at %d now.\n",
		file, was, max(was, now))
	return err
}
