package postgres

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/json"
	"log/slog"
	"strings"

	"github.com/exaring/otelpgx"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/traces"
)

// attempts is how often River tries a job by itself. Whatever it gives up is
// still due in a row of ours, and is asked for again.
const attempts = 4

// connections is how many connections a process opens at most unless its URL
// says pool_max_conns: the queue's listener and leader hold one each, and a
// page must not wait for a plan. PostgreSQL takes 100 by default.
const connections = 16

// idleAtMost ends a transaction whose process has fallen silent, in
// milliseconds: a machine that is cut off would hold its locks until its
// connection is given up, which takes hours. Longer than a job may last; a URL
// that says idle_in_transaction_session_timeout has its own.
const (
	idleSetting = "idle_in_transaction_session_timeout"
	idleAtMost  = "60000"
)

// Store keeps everything in PostgreSQL. It is safe for use by many goroutines.
type Store struct {
	pool  *pgxpool.Pool
	idle  string                // how long a transaction may be silent, in milliseconds
	queue *river.Client[pgx.Tx] // adds jobs only
}

// Option changes how a Store works.
type Option func(*pgxpool.Config)

// Traced makes a span of each statement, without its values and without the
// database's address.
func Traced(by traces.Provider) Option {
	return func(c *pgxpool.Config) {
		c.ConnConfig.Tracer = otelpgx.NewTracer(otelpgx.WithTracerProvider(by),
			otelpgx.WithDisableConnectionDetailsInAttributes(), otelpgx.WithDisableAcquireTracer())
	}
}

// Open connects to a migrated database as a role that owns and bypasses
// nothing, and refuses any other. Behind a pooler that shares connections
// between transactions, url says default_query_exec_mode=exec, simple_protocol
// or cache_describe: prepared statements, which are the default, break there.
func Open(ctx context.Context, url string, options ...Option) (*Store, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fault.Wrap(fault.Invalid, "DATABASE_URL can't be used", err)
	}
	if !strings.Contains(url, "pool_max_conns") {
		config.MaxConns = connections
	}
	// It is set in each transaction: a pooler would not let it pass.
	idle := config.ConnConfig.RuntimeParams[idleSetting]
	delete(config.ConnConfig.RuntimeParams, idleSetting)
	for _, apply := range options {
		apply(config)
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, wrap("connecting", err)
	}
	s := &Store{pool: pool, idle: idle}
	if err = s.prepare(ctx); err != nil {
		pool.Close()
		return nil, err
	}
	return s, nil
}

func (s *Store) prepare(ctx context.Context) error {
	if err := checkRole(ctx, s.pool); err != nil {
		return err
	}
	if err := checkVersion(ctx, s.pool); err != nil {
		return err
	}
	queue, err := river.NewClient(riverpgxv5.New(s.pool), &river.Config{
		MaxAttempts: attempts, Logger: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		return wrap("preparing the queue", err)
	}
	s.queue = queue
	return nil
}

// Close ends all connections, waiting for transactions under way.
func (s *Store) Close() { s.pool.Close() }

// Driver returns River's driver over the same connections, for those who work
// its jobs.
func (s *Store) Driver() *riverpgxv5.Driver { return riverpgxv5.New(s.pool) }

// RoleOf returns the role that a connection URL signs in as.
func RoleOf(url string) (string, error) {
	config, err := pgconn.ParseConfig(url)
	if err != nil {
		return "", fault.Wrap(fault.Invalid, "the database's address can't be used", err)
	}
	return config.User, nil
}

// Ready reports whether the database answers and is migrated.
func (s *Store) Ready(ctx context.Context) error { return checkVersion(ctx, s.pool) }

// open is the account's transaction that a context belongs to.
type open struct {
	store   *Store
	account string
	tx      pgx.Tx
}

type openKey struct{}

// InAccount runs fn in one transaction that sees one account's rows only. It
// commits when fn returns nil, and undoes everything otherwise. Called with the
// context that fn was given, and for the same account, it joins the transaction
// that is open and leaves the end of it to the outermost call. A call that joins an open transaction runs
// behind a savepoint, so that it undoes its own part when it fails.
func (s *Store) InAccount(ctx context.Context, account string, fn func(context.Context, *AccountTx) error) error {
	if _, err := parseID(account); err != nil {
		return err
	}
	run := func(t pgx.Tx) error {
		ctx := context.WithValue(ctx, openKey{}, open{store: s, account: account, tx: t})
		return fn(ctx, &AccountTx{weather: weather{tx: t, queue: s.queue}, account: account})
	}
	if o, ok := ctx.Value(openKey{}).(open); ok && o.store == s && o.account == account {
		return s.begin(ctx, o.tx, run)
	}
	return s.in(ctx, account, run)
}

// InSystem runs fn in one transaction that sees no account's rows.
func (s *Store) InSystem(ctx context.Context, fn func(context.Context, *SystemTx) error) error {
	return s.in(ctx, "", func(t pgx.Tx) error {
		return fn(ctx, &SystemTx{weather: weather{tx: t, queue: s.queue}})
	})
}

// in runs fn in one transaction that row-level security ties to an account.
func (s *Store) in(ctx context.Context, account string, fn func(pgx.Tx) error) error {
	return s.begin(ctx, s.pool, func(t pgx.Tx) error {
		var member, project string // empty: the account itself
		if m, ok := accounts.ActingAs(ctx); ok && m.Account == account && m.Member != account {
			member, project = m.Member, m.Project
		}
		// Local to the transaction: the next user of the connection starts without.
		_, err := t.Exec(ctx, `select set_config('dryslot.account', $1, true), set_config('`+idleSetting+`', $2, true),
			set_config('dryslot.member', $3, true), set_config('dryslot.project', $4, true)`, account,
			cmp.Or(s.idle, idleAtMost), member, project)
		if err != nil {
			return wrap("a transaction", err)
		}
		return fn(t)
	})
}

// begin runs fn in a transaction, or in a part of one. An error of fn's comes
// back as it is.
func (s *Store) begin(ctx context.Context, from interface {
	Begin(context.Context) (pgx.Tx, error)
}, fn func(pgx.Tx) error) error {
	var fromFn error
	err := pgx.BeginFunc(ctx, from, func(t pgx.Tx) error {
		fromFn = fn(t)
		return fromFn
	})
	if fromFn != nil {
		return fromFn
	}
	return wrap("a transaction", err)
}

// querier is a pool or a transaction.
type querier interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error)
}

// texts returns the one text column of a query.
func texts(ctx context.Context, q querier, sql string, args ...any) ([]string, error) {
	rows, err := q.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// parseID reads an id as the API shows it. Anything else names nothing.
func parseID(id string) (uuid.UUID, error) {
	u, err := uuid.Parse(id)
	if err != nil || len(id) != 36 {
		return uuid.Nil, fault.New(fault.NotFound, "there is nothing with that id")
	}
	return u, nil
}

// jsonb writes a value for a column of type jsonb. Its type says so to pgx where
// that does not ask the server for the types of parameters, as behind a pooler:
// plain bytes would be taken for a bytea.
func jsonb(v any) (json.RawMessage, error) { return json.Marshal(v) }

// newID returns an id that sorts by when it was made, which keeps indexes small.
func newID() (string, error) {
	u, err := uuid.NewV7()
	if err != nil {
		return "", wrap("making an id", err)
	}
	return u.String(), nil
}

// digest is what is kept of a secret that only has to be recognised.
func digest(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}
