package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/local"
)

// Migrate brings the database up to date, prints from which version to which,
// and returns: where the owner's connection is kept from the service, this is
// run before it.
func Migrate(ctx context.Context, cfg config.Config, out io.Writer, log *slog.Logger) (err error) {
	in := &instance{cfg: cfg, log: log}
	defer func() { err = errors.Join(err, in.close()) }()
	before := int64(-1) // of a PostgreSQL of the service's own that does not run yet
	if cfg.DatabaseURL.IsSet() {
		if before, err = postgres.Version(ctx, cfg.MigrateURL.Reveal()); err != nil {
			return err
		}
	}
	if err := in.database(ctx); err != nil {
		return err
	}
	now, err := postgres.Wanted()
	switch {
	case err != nil:
	case before >= now:
		_, err = fmt.Fprintf(out, "The database is at version %d, this program needs %d: nothing to do.\n", before, now)
	case before >= 0:
		_, err = fmt.Fprintf(out, "The database was at version %d and is at %d now.\n", before, now)
	default:
		_, err = fmt.Fprintf(out, "The database is at version %d.\n", now)
	}
	return err
}

// Version prints what this program was built from, and which database it needs.
func Version(out io.Writer) error {
	from := struct{ revision, time, changed string }{"an unknown revision", "an unknown time", ""}
	b, ok := debug.ReadBuildInfo()
	if !ok {
		b = &debug.BuildInfo{GoVersion: runtime.Version()}
	}
	for _, s := range b.Settings {
		switch {
		case s.Key == "vcs.revision":
			from.revision = s.Value
		case s.Key == "vcs.time":
			from.time = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			from.changed = ", with changes that are not committed"
		}
	}
	needs, err := postgres.Wanted()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "dryslot %s of %s%s\n%s, %s/%s\ndatabase version %d\n",
		from.revision, from.time, from.changed, b.GoVersion, runtime.GOOS, runtime.GOARCH, needs)
	return err
}

// TokenUsage is what Tokens takes.
const TokenUsage = `api token list
api token new [ACCOUNT]  a token of an account; without one, of a new account
api token link ACCOUNT   a link that signs one browser in to the account, once, within 15 minutes
api token revoke ID      it opens nothing any more, and all browsers of its account are signed out`

// Tokens lists, adds or revokes bearer tokens as args say, and prints what came
// of it. A PostgreSQL of the service's own may be running or not. Arguments
// that say nothing of the kind are fault.Invalid.
func Tokens(ctx context.Context, cfg config.Config, args []string, out io.Writer, log *slog.Logger) (err error) {
	do, err := tokenWork(args)
	if err != nil {
		return err
	}
	return withTokens(ctx, cfg, log, func(tokens *postgres.Tokens) error {
		return do(ctx, tokens, publicURL(cfg, nil), out)
	})
}

// withTokens opens the tokens and accounts as the database's owner for fn. A
// PostgreSQL of the service's own may be running or not.
func withTokens(ctx context.Context, cfg config.Config, log *slog.Logger, fn func(*postgres.Tokens) error) (err error) {
	in := &instance{cfg: cfg, log: log}
	defer func() { err = errors.Join(err, in.close()) }()
	owner, err := in.ownerURL(ctx)
	if err != nil {
		return err
	}
	tokens, err := postgres.OpenTokens(ctx, owner)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, tokens.Close(ctx)) }()
	return fn(tokens)
}

// ownerURL is the owner's connection. A PostgreSQL of the service's own that is
// not running is started, until close.
func (in *instance) ownerURL(ctx context.Context) (string, error) {
	if in.cfg.DatabaseURL.IsSet() {
		return in.cfg.MigrateURL.Reveal(), nil
	}
	owner, err := local.Running(in.cfg.DataDir)
	if !errors.Is(err, fault.NotFound) {
		return owner, err
	}
	if err := in.database(ctx); err != nil {
		return "", err
	}
	return in.local.MigrateURL(), nil
}

// tokenJob does one thing with tokens; base is the address of the pages.
type tokenJob func(ctx context.Context, t *postgres.Tokens, base string, out io.Writer) error

// tokenWork reads the arguments whole before anything is done.
func tokenWork(args []string) (tokenJob, error) {
	usage := fault.New(fault.Invalid, "usage:\n"+TokenUsage)
	if len(args) == 0 {
		return nil, usage
	}
	switch what, rest := args[0], args[1:]; {
	case what == "list" && len(rest) == 0:
		return listTokens, nil
	case what == "new" && len(rest) <= 1 && !slices.Contains(rest, ""):
		account := strings.Join(rest, "") // empty: a new one
		return func(ctx context.Context, t *postgres.Tokens, _ string, out io.Writer) error {
			secret, kept, err := t.Add(ctx, account)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(out, "Token:  %s\nIts id is %s, and it opens the account %s. "+
				"It can't be shown again.\n", secret, kept.ID, kept.Account)
			return err
		}, nil
	case what == "link" && len(rest) == 1:
		return func(ctx context.Context, t *postgres.Tokens, base string, out io.Writer) error {
			key, err := t.Link(ctx, rest[0], time.Now().Add(accounts.LinkLife))
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(out, "Link:   %s\nIt signs one browser in, once, within %.0f minutes.\n",
				signInAddress(base, key), accounts.LinkLife.Minutes())
			return err
		}, nil
	case what == "revoke" && len(rest) == 1:
		return func(ctx context.Context, t *postgres.Tokens, _ string, out io.Writer) error {
			gone, err := t.Revoke(ctx, rest[0])
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(out, "Token %s of account %s is revoked; the account's browsers are signed out.\n",
				gone.ID, gone.Account)
			return err
		}, nil
	}
	return nil, usage
}

func listTokens(ctx context.Context, t *postgres.Tokens, _ string, out io.Writer) error {
	list, err := t.List(ctx)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ID\tACCOUNT\tMADE\tREVOKED")
	for _, k := range list {
		revoked := "-"
		if k.RevokedAt != nil {
			revoked = k.RevokedAt.UTC().Format(time.RFC3339)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", k.ID, k.Account, k.CreatedAt.UTC().Format(time.RFC3339), revoked)
	}
	return w.Flush()
}
