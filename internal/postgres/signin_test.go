package postgres_test

import (
	"context"
	"errors"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
)

func TestALinkSignsInOnce(t *testing.T) {
	w := newWorld(t)
	ctx, now := t.Context(), time.Now()
	key, err := w.CreateLink(ctx, w.account, now.Add(accounts.LinkLife))
	must(t, err)
	for range 2 { // looking does not use it up
		if got, err := w.AccountByLink(ctx, key, now); err != nil || got != w.account {
			t.Fatalf("the link opens %q, %v", got, err)
		}
	}
	for what, at := range map[string]time.Time{"at its end": now.Add(accounts.LinkLife), "after": now.Add(time.Hour)} {
		if _, err := w.UseLink(ctx, key, at); !errors.Is(err, fault.Forbidden) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if _, err := w.UseLink(ctx, key+"x", now); !errors.Is(err, fault.Forbidden) {
		t.Errorf("another key: %v", err)
	}
	var opened atomic.Int64
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			got, err := w.UseLink(ctx, key, now)
			switch {
			case err == nil && got == w.account:
				opened.Add(1)
			case !errors.Is(err, fault.Forbidden):
				t.Errorf("%q, %v", got, err)
			}
		})
	}
	all.Wait()
	if opened.Load() != 1 {
		t.Errorf("eight at the same time: %d are signed in", opened.Load())
	}
	if n := query[int](t, w, "select count(*) from sign_in_links"); n != 0 {
		t.Errorf("%d links are left", n)
	}
}

func TestATokenMadeOnThePageIsRevokedWithItsSessions(t *testing.T) {
	w := newWorld(t)
	ctx, now := t.Context(), time.Now()
	other, err := w.EnsureToken(ctx, "another account's token, long enough")
	must(t, err)
	secret, _, err := w.CreateToken(ctx, w.account, "Yard screen", 50, accounts.Notice{})
	must(t, err)
	if got, err := w.AccountByToken(ctx, secret); err != nil || got != w.account {
		t.Fatalf("it opens %q, %v", got, err)
	}
	by, err := w.CreateSession(ctx, accounts.NewSession{Account: w.account, Browser: "Firefox", Token: secret,
		ExpiresAt: now.Add(time.Hour)})
	must(t, err)
	beside, err := w.CreateSession(ctx, accounts.NewSession{Account: w.account, ExpiresAt: now.Add(time.Hour)})
	must(t, err)
	list, err := w.Store.Tokens(ctx, w.account)
	must(t, err)
	mine := list[len(list)-1]
	if mine.Name != "Yard screen" || len(mine.ID) != 16 {
		t.Fatalf("listed as %+v", mine)
	}
	if err := w.RevokeToken(ctx, other, mine.ID); !errors.Is(err, fault.NotFound) {
		t.Errorf("another account revokes it: %v", err)
	}
	sessions, err := w.Sessions(ctx, w.account, now)
	must(t, err)
	if len(sessions) != 2 {
		t.Fatalf("%d sessions: %+v", len(sessions), sessions)
	}
	if err := w.EndSession(ctx, other, sessions[0].ID); !errors.Is(err, fault.NotFound) {
		t.Errorf("another account ends a session: %v", err)
	}
	if theirs, err := w.Sessions(ctx, other, now); err != nil || len(theirs) != 0 {
		t.Errorf("another account sees %+v, %v", theirs, err)
	}
	must(t, w.RevokeToken(ctx, w.account, mine.ID))
	if _, err := w.AccountByToken(ctx, secret); !errors.Is(err, fault.Forbidden) {
		t.Errorf("a revoked token: %v", err)
	}
	if _, err := w.AccountBySession(ctx, by, now); !errors.Is(err, fault.Forbidden) {
		t.Errorf("a session begun with it: %v", err)
	}
	if got, err := w.AccountBySession(ctx, beside, now); err != nil || got != w.account {
		t.Errorf("a session of its own: %q, %v", got, err)
	}
	if err := w.RevokeToken(ctx, w.account, mine.ID); !errors.Is(err, fault.NotFound) {
		t.Errorf("revoked again: %v", err)
	}
}

func TestAnAccountHasABoundedNumberOfTokens(t *testing.T) {
	w := newWorld(t)
	ctx := context.WithoutCancel(t.Context())
	const most = 5
	var all sync.WaitGroup
	for i := range 2 * most {
		all.Go(func() {
			if _, _, err := w.CreateToken(ctx, w.account, strconv.Itoa(i), most, accounts.Notice{}); err != nil &&
				!errors.Is(err, fault.Conflict) {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if list, err := w.Store.Tokens(ctx, w.account); err != nil || len(list) != most {
		t.Errorf("%d tokens, %v", len(list), err)
	}
}

func TestFailedTriesAreSlowedHoweverManyAtATime(t *testing.T) {
	w := newWorld(t)
	ctx, now := context.WithoutCancel(t.Context()), time.Now().Truncate(time.Second)
	pause := func(n int) time.Duration {
		if n < 3 {
			return 0
		}
		return time.Minute
	}
	try := func(at time.Time, keys ...string) time.Duration {
		wait, err := w.CountFailure(ctx, keys, at, time.Hour, pause)
		if err != nil {
			t.Error(err)
		}
		return wait
	}
	var through atomic.Int64
	var all sync.WaitGroup
	for i := range 12 {
		all.Go(func() {
			keys := []string{"a", "b"}
			if i%2 == 1 {
				keys = []string{"b", "a"}
			}
			if try(now, keys...) == 0 {
				through.Add(1)
			}
		})
	}
	all.Wait()
	if through.Load() != 3 {
		t.Fatalf("%d of twelve at the same time came through, want 3", through.Load())
	}
	if wait := try(now.Add(20*time.Second), "a"); wait != 40*time.Second {
		t.Errorf("after 20 s of a minute %v are left", wait)
	}
	if try(now, "c") != 0 {
		t.Error("another key waits")
	}
	if try(now.Add(time.Minute), "a") != 0 || try(now.Add(61*time.Second), "a") == 0 {
		t.Error("after the pause there is not one try")
	}
	must(t, w.UncountFailure(ctx, []string{"c"}))
	for range 3 {
		if try(now, "c") != 0 {
			t.Error("a try that did not fail is counted")
		}
	}
	for range 2 {
		if try(now.Add(2*time.Hour), "a") != 0 {
			t.Error("old failures are not forgotten")
		}
	}
}
