package app_test

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dryslot/internal/app"
	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/postgres/postgrestest"
)

func load(t *testing.T, env map[string]string) config.Config {
	t.Helper()
	cfg, err := config.Load(func(k string) string { return env[k] })
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}

// send sends JSON with a token, and returns the answer's body.
func send(t *testing.T, method, address, token, body string) string {
	t.Helper()
	req, err := http.NewRequest(method, address, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", "application/json")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	got, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode >= 300 {
		t.Fatalf("%s %s: %s, %v: %s", method, address, resp.Status, err, got)
	}
	return string(got)
}

func note(text string) string {
	return `{"kind":"note","at":"` + time.Now().Add(-time.Minute).UTC().Format(time.RFC3339) + `","text":"` +
		text + `"}`
}

// A backup that is made while the service works is restored into a fresh
// database, and a service serves from that what the first one did.
func TestABackupIsServedFrom(t *testing.T) {
	const token = "an-operators-token-long-enough-to-be-one"
	const other = "one-more-operators-token-long-enough-too"
	env := func(db postgrestest.Database, token string) map[string]string {
		return map[string]string{"DRYSLOT_LISTEN": "127.0.0.1:0", "DATABASE_URL": db.ServiceURL,
			"DRYSLOT_FEEDS": "replay", "DATABASE_MIGRATE_URL": db.OwnerURL, "DRYSLOT_TOKEN": token}
	}
	ctx, quiet := context.Background(), slog.New(slog.DiscardHandler)
	first, file := postgrestest.URLs(t), filepath.Join(t.TempDir(), "dryslot.backup")
	out, stop := run(t, env(first, token), false)
	base := strings.TrimSpace(strings.TrimPrefix(out.String(), "listening on "))
	made := send(t, "POST", base+"/v1/projects", token, `{"name":"Milk stand","latitude":41.2,"longitude":-8.3,
		"pads":[{"name":"A","length_m":1,"width_m":1,"thickness_m":0.1}]}`)
	var project struct{ ID string }
	if err := json.Unmarshal([]byte(made), &project); err != nil {
		t.Fatal(err)
	}
	log := "/v1/projects/" + project.ID + "/log"
	send(t, "POST", base+log, token, note("boards are level"))
	if err := app.Backup(ctx, load(t, env(first, token)), file, io.Discard, quiet); err != nil {
		t.Fatal(err)
	}
	send(t, "POST", base+log, token, note("after the backup"))
	stop()

	second := postgrestest.Empty(t)
	var told strings.Builder
	if err := app.Restore(ctx, load(t, env(second, token)), file, &told, quiet); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(told.String(), file) {
		t.Errorf("it says %q", &told)
	}
	if err := app.Restore(ctx, load(t, env(second, token)), file, io.Discard, quiet); !errors.Is(err, fault.Conflict) {
		t.Errorf("restoring once more: %v", err)
	}
	out, _ = run(t, env(second, other), false)
	base = strings.TrimSpace(strings.TrimPrefix(out.String(), "listening on "))
	if got := get(t, base+log, token); !strings.Contains(got, "boards are level") ||
		strings.Contains(got, "after the backup") {
		t.Errorf("the log is %s", got)
	}
	if got := get(t, base+"/v1/projects", other); strings.Contains(got, project.ID) {
		t.Errorf("another account has %s", got)
	}
	send(t, "POST", base+log, token, note("it goes on"))
}

// A PostgreSQL of the service's own is backed up and restored too.
func TestABackupOfItsOwnPostgreSQL(t *testing.T) {
	ctx, quiet, dir := context.Background(), slog.New(slog.DiscardHandler), openFolder(t)
	env := func(name string) config.Config {
		return load(t, map[string]string{"DRYSLOT_DATA": filepath.Join(dir, name), "DRYSLOT_FEEDS": "replay"})
	}
	file := filepath.Join(t.TempDir(), "own.backup")
	made, err := token(t, map[string]string{"DRYSLOT_DATA": filepath.Join(dir, "a")}, "new")
	if err != nil {
		t.Fatal(err, made)
	}
	if err := app.Backup(ctx, env("a"), file, io.Discard, quiet); err != nil {
		t.Fatal(err)
	}
	if err := app.Restore(ctx, env("b"), file, io.Discard, quiet); err != nil {
		t.Fatal(err)
	}
	was, err := token(t, map[string]string{"DRYSLOT_DATA": filepath.Join(dir, "a")}, "list")
	is, err2 := token(t, map[string]string{"DRYSLOT_DATA": filepath.Join(dir, "b")}, "list")
	if err != nil || err2 != nil || was != is || strings.Count(is, "\n") != 2 {
		t.Errorf("its tokens: %q, %v; restored %q, %v", was, err, is, err2)
	}
	if err := app.Restore(ctx, env("a"), file, io.Discard, quiet); !errors.Is(err, fault.Conflict) {
		t.Errorf("restoring over its data: %v", err)
	}
	if err := app.Restore(ctx, env("c"), file+"x", io.Discard, quiet); !errors.Is(err, fault.NotFound) {
		t.Errorf("restoring what is not there: %v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, "c")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("and it left a folder: %v", err)
	}
}
