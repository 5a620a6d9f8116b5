package postgrestest

import (
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
)

func TestDatabasesAreSeparate(t *testing.T) {
	a, b := New(t), New(t)
	if err := a.Ready(t.Context()); err != nil {
		t.Error(err)
	}
	token := strings.Repeat("t", 40)
	if _, err := a.EnsureToken(t.Context(), token); err != nil {
		t.Fatal(err)
	}
	if _, err := b.AccountByToken(t.Context(), token); err == nil {
		t.Error("one test's token is known in another's database")
	}
}

func TestEmptyHasNoTables(t *testing.T) {
	conn, err := pgx.Connect(t.Context(), Empty(t).OwnerURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var n int
	if err := conn.QueryRow(t.Context(),
		`select count(*) from pg_tables where schemaname = 'public'`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	if n != 0 {
		t.Errorf("an empty database has %d tables", n)
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		New(b)
	}
}
