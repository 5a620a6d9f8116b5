package api

import (
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dryslot/internal/web/webtest"
)

// clients is where the linter and what generates clients are installed.
const clients = "../../../testdata/clients"

// A linter of OpenAPI has nothing to say, and a client in TypeScript that is
// generated from the description compiles and does the main job.
func TestAGeneratedClient(t *testing.T) {
	h := newHouse(t)
	dir := t.TempDir()
	document := h.Must(t, http.StatusOK, "GET", "/openapi.json", "").Body
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	installed, err := filepath.Abs(filepath.Join(clients, "node_modules"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"main.ts", "tsconfig.json", "redocly.yaml", "package.json"} {
		text, err := os.ReadFile(filepath.Join(clients, name))
		if err != nil {
			t.Fatal(err)
		}
		write(name, string(text))
	}
	if err := os.Symlink(installed, filepath.Join(dir, "node_modules")); err != nil {
		t.Fatal(err)
	}
	write("openapi.json", document)
	run := func(name string, args ...string) string {
		t.Helper()
		cmd := exec.CommandContext(t.Context(), name, args...)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "REDOCLY_TELEMETRY=off", "REDOCLY_SUPPRESS_UPDATE_NOTICE=true", "NO_COLOR=1")
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%s %v: %v\n%.4000s", name, args, err, out)
		}
		return string(out)
	}
	bin := func(name string) string { return filepath.Join("node_modules", ".bin", name) }
	out := run(bin("redocly"), "lint", "openapi.json", "--format", "stylish")
	if !strings.Contains(out, "valid") || strings.Contains(out, "warning ") {
		t.Errorf("the linter says: %.2000s", out)
	}
	// What has a default may be left out of a body.
	run(bin("openapi-typescript"), "openapi.json", "-o", "api.d.ts", "--default-non-nullable=false")
	run(bin("tsc"), "-p", ".")
	placed := h.Now.Add(-10 * time.Hour).Format(time.RFC3339)
	if out := run("node", "main.js", h.URL, webtest.Firstly, placed); !strings.Contains(out, " bags, entry ") {
		t.Errorf("the client says %q", out)
	}
}
