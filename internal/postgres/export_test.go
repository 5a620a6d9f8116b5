package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
)

// SettingIn returns a server's setting as the account's transaction that ctx
// belongs to has it.
func SettingIn(ctx context.Context, name string) (value string, err error) {
	o := ctx.Value(openKey{}).(open)
	err = o.tx.QueryRow(ctx, `select current_setting($1)`, name).Scan(&value)
	return value, err
}

// MigrateTo brings a database up or down to a version, granting nothing.
func MigrateTo(ctx context.Context, url string, version int64) error {
	pool, err := pgxpool.New(ctx, url)
	if err != nil {
		return err
	}
	defer pool.Close()
	db := stdlib.OpenDBFromPool(pool)
	defer db.Close()
	provider, err := newProvider(db, pool)
	if err != nil {
		return err
	}
	have, err := provider.GetDBVersion(ctx)
	if err == nil && have > version {
		_, err = provider.DownTo(ctx, version)
	} else if err == nil {
		_, err = provider.UpTo(ctx, version)
	}
	return err
}

// OpenTraced is Open with somebody who looks at every statement.
func OpenTraced(ctx context.Context, url string, tracer pgx.QueryTracer) (*Store, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, err
	}
	config.ConnConfig.Tracer = tracer
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, err
	}
	s := &Store{pool: pool}
	return s, s.prepare(ctx)
}
