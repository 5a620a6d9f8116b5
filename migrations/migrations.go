// Package migrations holds the numbered SQL of the database, embedded. Numbers
// 1 and 2 are River's own tables, which internal/postgres brings in as Go
// migrations.
//
//	provider, err := goose.NewProvider(goose.DialectPostgres, db, migrations.Files)
package migrations

import "embed"

// Files holds the SQL files.
//
//go:embed *.sql
var Files embed.FS
