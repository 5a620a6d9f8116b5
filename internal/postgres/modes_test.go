package postgres_test

import (
	"os"
	"os/exec"
	"strings"
	"testing"

	"dryslot/internal/postgres/postgrestest"
)

// otherwise is left out of what runs in each mode: what sends no statement of
// the store, or only more of them than another test.
const otherwise = "InEachMode|HotQueries|Migrat|DocumentIsRefused|KindsOfErrors|" +
	"TheLogIsInTheOrder|APadWithLogEntriesStays|AForecastComesBack|" +
	// These connect by addresses of their own, past PgBouncer.
	"RolesThatMayTooMuch|ASilentTransactionIsEnded"

// The store's tests hold however statements are sent: by pgx's modes without
// prepared statements, through PgBouncer in transaction mode, which hands on
// what it is sent: what holds there holds without it. Prepared statements, the
// default, are what the tests run by otherwise.
func TestTheStoreInEachMode(t *testing.T) {
	if os.Getenv(postgrestest.ModeKey) != "" {
		t.Fatal("this test runs the others in each mode, and not itself")
	}
	binary, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, mode := range []string{"exec", "simple_protocol", "cache_describe"} {
		t.Run(mode, func(t *testing.T) {
			t.Parallel()
			cmd := exec.CommandContext(t.Context(), binary, "-test.v", "-test.skip", otherwise)
			cmd.Env = append(os.Environ(), postgrestest.ModeKey+"="+mode, postgrestest.PoolerKey+"=pgbouncer")
			out, err := cmd.CombinedOutput()
			if passed := strings.Count(string(out), "\n--- PASS"); err != nil || passed < 40 {
				t.Errorf("%d tests passed, %v:\n%s", passed, err, failures(string(out)))
			}
		})
	}
}

// failures leaves out what went well.
func failures(out string) string {
	var b strings.Builder
	for line := range strings.Lines(out) {
		if !strings.HasPrefix(line, "=== ") && !strings.HasPrefix(line, "--- PASS") {
			b.WriteString(line)
		}
	}
	return b.String()
}
