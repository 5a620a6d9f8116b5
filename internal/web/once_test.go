package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"sync"
	"testing"

	"dryslot/internal/fault"
	"dryslot/internal/watch"
)

func TestIdempotencyKeys(t *testing.T) {
	h := newHouse(t)
	count := func() int {
		return len(parse(t, h.must(t, http.StatusOK, "GET", "/v1/projects", "").body).Get("items").Array)
	}
	first := h.must(t, http.StatusCreated, "POST", "/v1/projects", yard, "Idempotency-Key", "k1")
	again := h.must(t, http.StatusCreated, "POST", "/v1/projects", yard, "Idempotency-Key", "k1")
	if first.body != again.body || first.header.Get("Location") != again.header.Get("Location") || first.header.Get("ETag") != again.header.Get("ETag") {
		t.Errorf("another answer:\n%s\n%s", first.body, again.body)
	}
	if n := count(); n != 1 {
		t.Errorf("%d projects after the same request twice", n)
	}
	other := h.must(t, http.StatusUnprocessableEntity, "POST", "/v1/projects", strings.Replace(yard, "Boules", "Bowls", 1), "Idempotency-Key", "k1")
	if !strings.Contains(other.body, "Idempotency-Key") {
		t.Errorf("another body: %s", other.body)
	}
	h.must(t, http.StatusCreated, "POST", "/v1/projects", yard, "Idempotency-Key", "k2")
	h.must(t, http.StatusCreated, "POST", "/v1/projects", yard)
	// Another account's key of the same name is another key.
	h.must(t, http.StatusCreated, "POST", "/v1/projects", yard, "Idempotency-Key", "k1", "Authorization", "Bearer "+secondly)
	if n := count(); n != 3 {
		t.Errorf("%d projects, want 3", n)
	}
	// A refused request keeps nothing under its key.
	h.must(t, http.StatusUnprocessableEntity, "POST", "/v1/projects", `{}`, "Idempotency-Key", "k3")
	h.must(t, http.StatusCreated, "POST", "/v1/projects", yard, "Idempotency-Key", "k3")

	base := first.header.Get("Location")
	h.refresh(t, strings.TrimPrefix(base, "/v1/projects/"))
	for _, c := range []struct {
		status     int
		path, body string
	}{
		{http.StatusCreated, base + "/log", `{"kind":"placed","pad":"A1","at":"2025-07-27T09:10:00+02:00","bags":5}`},
		{http.StatusCreated, base + "/plan", ``},
		{http.StatusOK, base + "/plan", `{"what_if":{"people":1}}`},
		{http.StatusCreated, base + "/recipients", `{"kind":"webhook","address":"https://hooks.example.org/pour"}`},
	} {
		// One key serves each route by itself.
		key := "each"
		if c.status == http.StatusOK {
			key = "tried"
		}
		one := h.must(t, c.status, "POST", c.path, c.body, "Idempotency-Key", key)
		two := h.must(t, c.status, "POST", c.path, c.body, "Idempotency-Key", key)
		if one.body != two.body {
			t.Errorf("%s: another answer:\n%s\n%s", c.path, one.body, two.body)
		}
	}
	if n := len(parse(t, h.must(t, http.StatusOK, "GET", base+"/log", "").body).Get("items").Array); n != 1 {
		t.Errorf("%d log entries", n)
	}
	if n := len(parse(t, h.must(t, http.StatusOK, "GET", base+"/recipients", "").body).Get("items").Array); n != 1 {
		t.Errorf("%d recipients", n)
	}
}

// While the first request is under way, the same key gets 409; when it fails,
// the key is free again and nothing of it is left.
func TestAKeyUnderWay(t *testing.T) {
	h := newHouse(t)
	ctx := context.Background()
	account, err := h.store.AccountByToken(ctx, h.token)
	if err != nil {
		t.Fatal(err)
	}
	spoiled := errors.New("spoiled")
	err = h.store.InAccount(ctx, account, func(ctx context.Context, tx watch.Tx) error {
		if _, err := tx.Remembered(ctx, "POST /v1/projects", "k", h.now); !errors.Is(err, fault.NotFound) {
			t.Fatalf("a fresh key: %v", err)
		}
		a := h.must(t, http.StatusConflict, "POST", "/v1/projects", yard, "Idempotency-Key", "k")
		mustFit(t, "problem", a.body)
		if !strings.Contains(a.body, `"field":"Idempotency-Key"`) {
			t.Errorf("under way: %s", a.body)
		}
		return spoiled
	})
	if !errors.Is(err, spoiled) {
		t.Fatal(err)
	}
	h.must(t, http.StatusCreated, "POST", "/v1/projects", yard, "Idempotency-Key", "k")
}

// Many at once with one key: one effect, and every answer is that one or 409.
func TestOneKeyManyAtOnce(t *testing.T) {
	h := newHouse(t)
	var wait sync.WaitGroup
	answers := make([]answer, 12)
	for i := range answers {
		wait.Go(func() { answers[i] = h.send(t, "POST", "/v1/projects", yard, "Idempotency-Key", "k") })
	}
	wait.Wait()
	made := h.must(t, http.StatusCreated, "POST", "/v1/projects", yard, "Idempotency-Key", "k").body
	for _, a := range answers {
		if a.status != http.StatusConflict && (a.status != http.StatusCreated || a.body != made) {
			t.Errorf("%d: %.200s", a.status, a.body)
		}
	}
	if n := len(parse(t, h.must(t, http.StatusOK, "GET", "/v1/projects", "").body).Get("items").Array); n != 1 {
		t.Errorf("%d projects", n)
	}
}
