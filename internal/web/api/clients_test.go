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

// A linter of OpenAPI has nothing to say, and clients in TypeScript and Go that
// are generated from the description compile and do the main job.
func TestGeneratedClients(t *testing.T) {
	h := newService(t)
	document := h.Must(t, http.StatusOK, "GET", "/openapi.json", "").Body
	placed := h.Now.Add(-10 * time.Hour).Format(time.RFC3339)
	doesMainJob := func(t *testing.T, c clientDir, name string, args ...string) {
		t.Helper()
		if out := c.run(t, name, append(args, h.URL, webtest.FirstToken, placed)...); !strings.Contains(out,
			" bags, entry ") {
			t.Errorf("the client says %q", out)
		}
	}
	t.Run("TypeScript", func(t *testing.T) {
		c := newClientDir(t, ".", document, "main.ts", "tsconfig.json", "redocly.yaml", "package.json")
		installed, err := filepath.Abs(filepath.Join(clients, "node_modules"))
		if err == nil {
			err = os.Symlink(installed, filepath.Join(c.dir, "node_modules"))
		}
		if err != nil {
			t.Fatal(err)
		}
		bin := func(name string) string { return filepath.Join("node_modules", ".bin", name) }
		out := c.run(t, bin("redocly"), "lint", "openapi.json", "--format", "stylish")
		if !strings.Contains(out, "valid") || strings.Contains(out, "warning ") {
			t.Errorf("the linter says: %.2000s", out)
		}
		// What has a default may be left out of a body.
		c.run(t, bin("openapi-typescript"), "openapi.json", "-o", "api.d.ts", "--default-non-nullable=false")
		c.run(t, bin("tsc"), "-p", ".")
		doesMainJob(t, c, "node", "main.js")
	})
	t.Run("Go", func(t *testing.T) {
		c := newClientDir(t, "golang", document, "main.go", "generate.yaml", "go.mod", "go.sum")
		if err := os.Mkdir(filepath.Join(c.dir, "api"), 0o700); err != nil {
			t.Fatal(err)
		}
		c.run(t, "go", "tool", "oapi-codegen", "-config", "generate.yaml", "openapi.json")
		c.run(t, "go", "build", "-o", "client", ".")
		doesMainJob(t, c, "./client")
	})
}

// clientDir is a folder that a client is generated in.
type clientDir struct{ dir string }

// newClientDir copies files of testdata/clients beside the description.
func newClientDir(t *testing.T, from, document string, files ...string) clientDir {
	t.Helper()
	c := clientDir{t.TempDir()}
	write := func(name string, text []byte) {
		if err := os.WriteFile(filepath.Join(c.dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range files {
		text, err := os.ReadFile(filepath.Join(clients, from, name))
		if err != nil {
			t.Fatal(err)
		}
		write(name, text)
	}
	write("openapi.json", []byte(document))
	return c
}

// run runs a command in the folder and returns what it says.
func (c clientDir) run(t *testing.T, name string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	cmd.Dir = c.dir
	cmd.Env = append(os.Environ(), "REDOCLY_TELEMETRY=off", "REDOCLY_SUPPRESS_UPDATE_NOTICE=true", "NO_COLOR=1")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%.4000s", name, args, err, out)
	}
	return string(out)
}
