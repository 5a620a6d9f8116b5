package api

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"sync"
	"testing"

	"dryslot/internal/fault"
	"dryslot/internal/postgres"
	"dryslot/internal/web/webtest"
)

func TestIdempotencyKeys(t *testing.T) {
	h := newService(t)
	count := func() int {
		return len(parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects", "").Body).Get("items").Array)
	}
	first := h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k1")
	again := h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k1")
	if first.Body != again.Body || first.Header.Get("Location") != again.Header.Get("Location") ||
		first.Header.Get("ETag") != again.Header.Get("ETag") {
		t.Errorf("another answer:\n%s\n%s", first.Body, again.Body)
	}
	if n := count(); n != 1 {
		t.Errorf("%d projects after the same request twice", n)
	}
	other := h.Must(t, http.StatusUnprocessableEntity, "POST", "/v1/projects", strings.Replace(webtest.Yard, "Boules",
		"Bowls", 1), "Idempotency-Key", "k1")
	if !strings.Contains(other.Body, "Idempotency-Key") {
		t.Errorf("another body: %s", other.Body)
	}
	h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k2")
	h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard)
	// Another account's key of the same name is another key.
	h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k1", "Authorization",
		"Bearer "+webtest.SecondToken)
	if n := count(); n != 3 {
		t.Errorf("%d projects, want 3", n)
	}
	// A refused request keeps nothing under its key.
	h.Must(t, http.StatusUnprocessableEntity, "POST", "/v1/projects", `{}`, "Idempotency-Key", "k3")
	h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k3")

	base := first.Header.Get("Location")
	h.Refresh(t, strings.TrimPrefix(base, "/v1/projects/"))
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
		one := h.Must(t, c.status, "POST", c.path, c.body, "Idempotency-Key", key)
		two := h.Must(t, c.status, "POST", c.path, c.body, "Idempotency-Key", key)
		if one.Body != two.Body {
			t.Errorf("%s: another answer:\n%s\n%s", c.path, one.Body, two.Body)
		}
	}
	if n := len(parse(t, h.Must(t, http.StatusOK, "GET", base+"/log", "").Body).Get("items").Array); n != 1 {
		t.Errorf("%d log entries", n)
	}
	if n := len(parse(t, h.Must(t, http.StatusOK, "GET", base+"/recipients", "").Body).Get("items").Array); n != 1 {
		t.Errorf("%d recipients", n)
	}
}

// While the first request is under way, the same key gets 409; when it fails,
// the key is free again and nothing of it is left.
func TestAKeyUnderWay(t *testing.T) {
	h := newService(t)
	ctx := context.Background()
	account, err := h.Store.AccountByToken(ctx, h.Token)
	if err != nil {
		t.Fatal(err)
	}
	spoiled := errors.New("spoiled")
	err = h.Store.InAccount(ctx, account, func(ctx context.Context, tx *postgres.AccountTx) error {
		if _, err := tx.Remembered(ctx, "POST /v1/projects", "k", h.Now); !errors.Is(err, fault.NotFound) {
			t.Fatalf("a fresh key: %v", err)
		}
		a := h.Must(t, http.StatusConflict, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k")
		mustFit(t, "problem", a.Body)
		if !strings.Contains(a.Body, `"field":"Idempotency-Key"`) {
			t.Errorf("under way: %s", a.Body)
		}
		return spoiled
	})
	if !errors.Is(err, spoiled) {
		t.Fatal(err)
	}
	h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k")
}

// Many at once with one key: one effect, and every answer is that one or 409.
func TestOneKeyManyAtOnce(t *testing.T) {
	h := newService(t)
	var wait sync.WaitGroup
	answers := make([]webtest.Answer, 12)
	for i := range answers {
		wait.Go(func() { answers[i] = h.Send(t, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k") })
	}
	wait.Wait()
	made := h.Must(t, http.StatusCreated, "POST", "/v1/projects", webtest.Yard, "Idempotency-Key", "k").Body
	for _, a := range answers {
		if a.Status != http.StatusConflict && (a.Status != http.StatusCreated || a.Body != made) {
			t.Errorf("%d: %.200s", a.Status, a.Body)
		}
	}
	if n := len(parse(t, h.Must(t, http.StatusOK, "GET", "/v1/projects", "").Body).Get("items").Array); n != 1 {
		t.Errorf("%d projects", n)
	}
}
