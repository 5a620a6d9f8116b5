package postgres_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/paging"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/pour"
)

// counts counts the rows of every table, as a superuser.
func counts(t *testing.T, adminURL string) map[string]int {
	t.Helper()
	admin, err := pgx.Connect(t.Context(), adminURL)
	must(t, err)
	defer admin.Close(t.Context())
	rows, err := admin.Query(t.Context(), `select relname::text from pg_class
		where relkind in ('r', 'p') and relnamespace = 'public'::regnamespace`)
	must(t, err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	must(t, err)
	out := map[string]int{}
	for _, table := range tables {
		var n int
		must(t, admin.QueryRow(t.Context(), "select count(*) from "+pgx.Identifier{table}.Sanitize()).Scan(&n))
		out[table] = n
	}
	return out
}

// What the owner backs up, with the roles as they are documented, is restored
// whole into an empty database, and the service's role serves from it.
func TestABackupIsRestoredWhole(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.newAlert(t, p.ID, w.newRecipient(t, p.ID).ID, "k1")
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		_, err := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryNote, At: noon, RecordedAt: noon})
		return err
	})
	file := filepath.Join(t.TempDir(), "dryslot.dump")
	must(t, postgres.Backup(t.Context(), w.db.OwnerURL, file))
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file: %v, %v", info, err)
	}
	wantKind(t, "over a file that is there", postgres.Backup(t.Context(), w.db.OwnerURL, file), fault.Conflict)
	wantKind(t, "restoring over what is there", postgres.Restore(t.Context(), w.db.OwnerURL, file), fault.Conflict)

	other := postgrestest.Empty(t)
	must(t, postgres.Restore(t.Context(), other.OwnerURL, file))
	must(t, postgres.Migrate(t.Context(), other.OwnerURL, other.ServiceRole))
	was, is, rows := counts(t, w.db.AdminURL), counts(t, other.AdminURL), 0
	for table, n := range was {
		if is[table] != n {
			t.Errorf("%s has %d rows, and had %d", table, is[table], n)
		}
		rows += n
	}
	if len(is) != len(was) || rows < 20 {
		t.Errorf("%d tables of %d, with %d rows", len(is), len(was), rows)
	}

	store, err := postgres.Open(t.Context(), other.ServiceURL)
	must(t, err)
	defer store.Close()
	must(t, store.InAccount(t.Context(), w.account, func(ctx context.Context, tx *postgres.AccountTx) error {
		log, _, err := tx.Log(ctx, p.ID, paging.Page{Limit: 5})
		if len(log) != 1 {
			t.Errorf("%d entries", len(log))
		}
		return err
	}))
	stranger, err := store.EnsureToken(t.Context(), "another account's token, 32 characters and more")
	must(t, err)
	must(t, store.InAccount(t.Context(), stranger, func(ctx context.Context, tx *postgres.AccountTx) error {
		all, _, err := tx.Projects(ctx, paging.Page{Limit: 5})
		if len(all) != 0 {
			t.Error("another account sees what was restored")
		}
		return err
	}))
}

// Only the owner reads every row, and only where it says that it makes a backup.
func TestTheBackupSettingOpensNothingToTheService(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.newProject(t)
	for name, c := range map[string]struct {
		url     string
		setting string
		rows    int
	}{
		"the service":                       {w.db.ServiceURL, "off", 0},
		"the service with the setting":      {w.db.ServiceURL, "on", 0},
		"the owner":                         {w.db.OwnerURL, "off", 0},
		"the owner that is making a backup": {w.db.OwnerURL, "on", 1},
	} {
		conn, err := pgx.Connect(t.Context(), c.url)
		must(t, err)
		must(t, pgx.BeginFunc(t.Context(), conn, func(tx pgx.Tx) error {
			if _, err := tx.Exec(t.Context(), `select set_config('dryslot.backup', $1, true)`, c.setting); err != nil {
				return err
			}
			var n int
			err := tx.QueryRow(t.Context(), `select count(*) from projects`).Scan(&n)
			if n != c.rows {
				t.Errorf("%s reads %d projects, want %d", name, n, c.rows)
			}
			return err
		}))
		must(t, conn.Close(t.Context()))
	}
}
