package postgres_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"testing"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/photo"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
	"dryslot/internal/work"
)

// naming counts, in every table, the rows that hold one of some texts anywhere.
func naming(t *testing.T, adminURL string, texts ...string) map[string]int {
	t.Helper()
	admin, err := pgx.Connect(t.Context(), adminURL)
	must(t, err)
	defer admin.Close(t.Context())
	out := map[string]int{}
	for table := range counts(t, adminURL) {
		for _, text := range texts {
			var n int
			must(t, admin.QueryRow(t.Context(), "select count(*) from "+pgx.Identifier{table}.Sanitize()+
				" as r where r::text like '%' || $1::text || '%'", text).Scan(&n))
			if n > 0 {
				out[table] += n
			}
		}
	}
	return out
}

// After an account is deleted no row of any table names it, its project or its
// address; another account's rows are all there.
func TestADeletedAccountIsNowhere(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	w.newAlert(t, p.ID, w.newRecipient(t, p.ID).ID, "k1")
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		if _, err := tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryNote, At: noon,
			RecordedAt: noon}); err != nil {
			return err
		}
		if _, err := tx.AddPhoto(ctx, p.ID, photo.Photo{Width: 4, Height: 3, JPEG: []byte("a picture")}); err != nil {
			return err
		}
		if _, err := tx.AddPlan(ctx, p.ID, aPlan("first")); err != nil {
			return err
		}
		if err := tx.KeepSeenRain(ctx, p.ID, quayCell, noon, []projects.SeenRain{{Hour: noon, MM: 2}}); err != nil {
			return err
		}
		return tx.Enqueue(ctx, work.Deliver{Account: w.account, Key: "k1"},
			work.Replan{Account: w.account, Project: p.ID, Because: "a test"})
	})
	observer := sha256.Sum256([]byte(w.account)) // of the rain that it logged
	other := w.newAccount(t, "other")
	tokens, err := postgres.OpenTokens(t.Context(), w.db.OwnerURL)
	must(t, err)
	defer func() { must(t, tokens.Close(context.WithoutCancel(t.Context()))) }()
	_, _, err = tokens.Add(t.Context(), other)
	must(t, err)
	others := naming(t, w.db.AdminURL, other)

	if before := naming(t, w.db.AdminURL, w.account, p.ID, hex.EncodeToString(observer[:])); len(before) < 8 ||
		before["seen_rain"] == 0 || before["river_job"] == 0 {
		t.Fatalf("only these tables name the account: %v", before)
	}
	shown, err := tokens.Holdings(t.Context(), w.account)
	must(t, err)
	if shown.Projects != 1 || shown.Entries != 1 || shown.Plans != 1 || shown.Recipients != 1 || shown.Alerts != 1 ||
		shown.Tokens != 1 || shown.Photos != 1 {
		t.Errorf("it is said to hold %+v", shown)
	}
	gone, err := tokens.DeleteAccount(t.Context(), w.account)
	must(t, err)
	if gone != shown {
		t.Errorf("deleted %+v, shown were %+v", gone, shown)
	}
	if left := naming(t, w.db.AdminURL, w.account, p.ID, "hooks.example/x",
		hex.EncodeToString(observer[:])); len(left) > 0 {
		t.Errorf("rows that name it are left in %v", left)
	}
	if now := naming(t, w.db.AdminURL, other); len(now) != len(others) || now["tokens"] != others["tokens"] {
		t.Errorf("of another account there are %v, and were %v", now, others)
	}
	_, err = tokens.DeleteAccount(t.Context(), w.account)
	wantKind(t, "deleting it again", err, fault.NotFound)
	_, err = tokens.Holdings(t.Context(), "nobody")
	wantKind(t, "an account of no such form", err, fault.NotFound)
}

// The service deletes the account that it works as, by itself, and no other: not
// as a member of another's project either.
func TestTheServiceDeletesItsOwnAccountAlone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.newProject(t)
	other := w.newAccount(t, "other")
	conn := service(t, w)
	for name, settings := range map[string][2]string{"nobody": {"", ""}, "another": {other, ""},
		"a member": {w.account, other}} {
		_, err := conn.Exec(t.Context(), `select set_config('dryslot.account', $1, false), set_config('dryslot.member',
			$2, false)`,
			settings[0], settings[1])
		must(t, err)
		if _, err := conn.Exec(t.Context(), `select delete_account($1)`, w.account); err == nil {
			t.Errorf("%s deletes the account", name)
		}
	}
	must(t, w.DeleteAccount(t.Context(), w.account))
	if left := naming(t, w.db.AdminURL, w.account, p.ID); len(left) > 0 {
		t.Errorf("rows that name it are left in %v", left)
	}
	if now := naming(t, w.db.AdminURL, other); now["accounts"] != 1 {
		t.Errorf("of another account there are %v", now)
	}
}
