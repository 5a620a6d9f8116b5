package postgres_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/postgrestest"
)

func openTokens(t *testing.T, url string) *postgres.Tokens {
	t.Helper()
	tokens, err := postgres.OpenTokens(t.Context(), url)
	must(t, err)
	t.Cleanup(func() { must(t, tokens.Close(context.Background())) })
	return tokens
}

func TestATokenIsReplacedAndRevoked(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	tokens := openTokens(t, w.db.OwnerURL)
	clear, kept, err := tokens.Add(ctx, w.account)
	must(t, err)
	if kept.Account != w.account || len(kept.ID) != 16 || strings.Contains(clear, kept.ID) || kept.RevokedAt != nil {
		t.Errorf("made %+v", kept)
	}
	if got, err := w.AccountByToken(ctx, clear); err != nil || got != w.account {
		t.Errorf("the new token opens %q: %v", got, err)
	}
	if n := query[int](t, w, `select count(*) from tokens t where t::text like '%' || $1 || '%'`, clear); n != 0 {
		t.Error("the token is kept in clear")
	}
	// Every browser of the account is signed out with the token, no other's.
	other := w.newAccount(t, "b")
	mine, err := w.CreateSession(ctx, accounts.NewSession{Account: w.account, ExpiresAt: time.Now().Add(time.Hour)})
	must(t, err)
	theirs, err := w.CreateSession(ctx, accounts.NewSession{Account: other, ExpiresAt: time.Now().Add(time.Hour)})
	must(t, err)
	first := strings.Repeat("a", 40)
	list, err := tokens.List(ctx)
	must(t, err)
	if len(list) != 3 || list[0].Account != w.account || list[1].ID != kept.ID || list[2].Account != other {
		t.Fatalf("listed %+v", list)
	}
	gone, err := tokens.Revoke(ctx, strings.ToUpper(list[0].ID[:8]))
	must(t, err)
	if gone.ID != list[0].ID || gone.RevokedAt == nil {
		t.Errorf("revoked %+v", gone)
	}
	_, err = w.AccountByToken(ctx, first)
	wantKind(t, "a revoked token", err, fault.Forbidden)
	_, err = w.EnsureToken(ctx, first)
	wantKind(t, "a service that is still set up with it", err, fault.Conflict)
	if _, err := w.AccountByToken(ctx, clear); err != nil {
		t.Errorf("the other token: %v", err)
	}
	_, err = w.AccountBySession(ctx, mine, time.Now())
	wantKind(t, "a browser of the account", err, fault.Forbidden)
	if _, err := w.AccountBySession(ctx, theirs, time.Now()); err != nil {
		t.Errorf("another account's browser: %v", err)
	}
	again, err := tokens.Revoke(ctx, gone.ID)
	if err != nil || !again.RevokedAt.Equal(*gone.RevokedAt) {
		t.Errorf("revoked again: %+v, %v", again, err)
	}
	if n := query[int](t, w, `select count(*) from accounts`); n != 2 {
		t.Errorf("%d accounts, want 2", n)
	}
}

func TestATokenOfANewAccount(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	tokens := openTokens(t, w.db.OwnerURL)
	clear, kept, err := tokens.Add(t.Context(), "")
	must(t, err)
	if got, err := w.AccountByToken(t.Context(), clear); err != nil || got != kept.Account || got == w.account {
		t.Errorf("it opens %q: %v", got, err)
	}
}

func TestTokensThatCanNotBe(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	tokens := openTokens(t, w.db.OwnerURL)
	for _, account := range []string{"nobody", "01890000-0000-7000-8000-000000000000"} {
		_, _, err := tokens.Add(ctx, account)
		wantKind(t, "a token of account "+account, err, fault.NotFound)
	}
	for id, kind := range map[string]fault.Kind{"": fault.Invalid, "abc": fault.Invalid, "%%%%%%": fault.Invalid,
		"wxyzwxyz":              fault.Invalid,
		strings.Repeat("0", 17): fault.Invalid, "00000000": fault.NotFound} {
		_, err := tokens.Revoke(ctx, id)
		wantKind(t, "revoking "+id, err, kind)
	}
	fill(t, w,
		`insert into tokens (digest, account) select decode('aabbccddee' || n || repeat('0', 53), 'hex'), $1::uuid
			from generate_series(1, 2) n`, w.account)
	_, err := tokens.Revoke(ctx, "aabbccddee")
	wantKind(t, "an id of two tokens", err, fault.Conflict)
	list, err := tokens.List(ctx)
	must(t, err)
	if slices.ContainsFunc(list, func(k postgres.Token) bool { return k.RevokedAt != nil }) || len(list) != 3 {
		t.Errorf("something changed: %+v", list)
	}
}

// The service's role can add and revoke a token; it can neither take one away
// nor have one that was revoked open its account again.
func TestARevokedTokenStaysRevoked(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	tokens := openTokens(t, w.db.ServiceURL)
	list, err := tokens.List(t.Context())
	must(t, err)
	_, err = tokens.Revoke(t.Context(), list[0].ID)
	must(t, err)
	conn := service(t, w)
	if _, err := conn.Exec(t.Context(), `delete from tokens`); !denied(err) {
		t.Errorf("the service deletes a token: %v", err)
	}
	for _, sql := range []string{`update tokens set revoked_at = null`,
		`update tokens set revoked_at = now() + interval '1 hour'`} {
		if _, err := conn.Exec(t.Context(), sql); err == nil {
			t.Errorf("%s is taken", sql)
		}
	}
	_, err = w.AccountByToken(t.Context(), strings.Repeat("a", 40))
	wantKind(t, "a revoked token", err, fault.Forbidden)
	_, err = postgres.OpenTokens(t.Context(), postgrestest.Empty(t).OwnerURL)
	wantKind(t, "a database that is not migrated", err, fault.Unavailable)
}
