// Package arrows holds the architecture as a test: a package imports packages of
// lower layers only, and each outside part has its only importers. The layers
// are the picture in DEVELOPERS.md, read from there, so that the two can't differ.
package arrows

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// measuring are the packages that measure the service from outside, each after
// those that it may import. Nothing else imports them.
var measuring = []string{
	"internal/measure/check", "internal/measure/emulate", "internal/measure/emulate/run", "internal/measure/backtest",
	"internal/measure/backtest/run",
	"internal/measure/load", "internal/measure/load/run", "internal/measure/physics",
	"internal/measure/report", "internal/measure/rolling",
}

// layers returns the layer of each package, from 0 at the bottom, and the
// highest layer whose packages do no I/O and have no clock: that of say.
func layers(t *testing.T) (layer map[string]int, pure int) {
	t.Helper()
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, picture, _ := strings.Cut(string(text), "## Packages")
	_, picture, _ = strings.Cut(picture, "```\n")
	picture, _, found := strings.Cut(picture, "```")
	if !found {
		t.Fatal("DEVELOPERS.md has no picture of the packages")
	}
	lines := strings.Split(strings.TrimSpace(picture), "\n")
	slices.Reverse(lines)
	layer = map[string]int{}
	for i, line := range lines {
		names, _, _ := strings.Cut(line, "  ") // what follows says what they are
		for name := range strings.FieldsSeq(names) {
			if !strings.HasPrefix(name, "cmd/") {
				name = "internal/" + name
			}
			if _, twice := layer[name]; twice {
				t.Errorf("%s stands twice in the picture", name)
			}
			layer[name] = i
		}
	}
	pure, ok := layer["internal/say"]
	if !ok {
		t.Fatal("internal/say is not in the picture")
	}
	return layer, pure
}

// onlyImporters names the packages that alone may import an outside part.
var onlyImporters = map[string][]string{
	"gonum.org/v1/gonum": {"internal/concrete", "internal/measure/emulate",
		"internal/measure/backtest"},
	"github.com/kelvins/sunrisesunset":               {"internal/daylight"},
	"github.com/ringsaturn/tzf":                      {"internal/place"},
	"github.com/jackc/pgx/v5":                        {"internal/postgres", "internal/postgres/local"},
	"github.com/pressly/goose/v3":                    {"internal/postgres"},
	"github.com/riverqueue/river":                    {"internal/postgres", "internal/jobs"},
	"github.com/robfig/cron/v3":                      {"internal/jobs"},
	"github.com/wneessen/go-mail":                    {"internal/notify/email"},
	"github.com/go-webauthn/webauthn":                {"internal/accounts"},
	"github.com/SherClockHolmes/webpush-go":          {"internal/notify/push"},
	"github.com/standard-webhooks/standard-webhooks": {"internal/notify/webhook"},
	"github.com/labstack/echo/v4":                    {"internal/web", "internal/web/api", "internal/web/pages"},
	"github.com/danielgtaylor/huma/v2":               {"internal/web/api"},
	"github.com/arran4/golang-ical":                  {"internal/web/api"},
	"github.com/evanphx/json-patch":                  {"internal/web/api"},
	"go.opentelemetry.io":                            {"internal/traces"},
	"github.com/exaring/otelpgx":                     {"internal/postgres"},
	"github.com/riverqueue/rivercontrib":             {"internal/jobs"},
	"github.com/prometheus/client_golang":            {"internal/metrics"},
	"golang.org/x/image":                             {"internal/photo"},
	"golang.org/x/text":                              {"internal/say"},
	"github.com/hashicorp/golang-lru":                {"internal/planner/slabs"},
}

// impure are standard packages that do I/O.
var impure = []string{"net", "net/http", "os", "os/exec", "database/sql", "net/smtp"}

type pkg struct {
	ImportPath string
	Imports    []string
}

func list(t *testing.T) []pkg {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports", "dryslot/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var pkgs []pkg
	dec := json.NewDecoder(strings.NewReader(string(out)))
	for {
		var p pkg
		err := dec.Decode(&p)
		if errors.Is(err, io.EOF) {
			return pkgs
		}
		if err != nil {
			t.Fatalf("go list: %v", err)
		}
		pkgs = append(pkgs, p)
	}
}

// inTree is a package's path in this repository; "" for test helpers.
func inTree(path string) string {
	r := strings.TrimPrefix(path, "dryslot/")
	if strings.HasSuffix(r, "test") && !strings.HasSuffix(r, "/backtest") {
		return ""
	}
	return r
}

func TestAPackageImportsLowerLayersOnly(t *testing.T) {
	layer, _ := layers(t)
	there := map[string]bool{}
	for _, p := range list(t) {
		from := inTree(p.ImportPath)
		there[from] = true
		if from == "" || from == "internal/arrows" || from == "migrations" || strings.HasPrefix(from, "testdata/") {
			continue
		}
		position := slices.Index(measuring, from)
		own, drawn := layer[from]
		if !drawn && position < 0 {
			t.Errorf("%s is not in the picture", from)
			continue
		}
		for _, imp := range p.Imports {
			if !strings.HasPrefix(imp, "dryslot/") {
				continue
			}
			to := inTree(imp)
			below, known := layer[to]
			switch {
			case to == "migrations" && from == "internal/postgres":
			case to == "":
				t.Errorf("%s imports the test helper %s", from, imp)
			case position >= 0: // measures everything, but not what comes after it
				if !known && slices.Index(measuring[:position], to) < 0 {
					t.Errorf("%s imports %s", from, to)
				}
			case !known || below >= own:
				t.Errorf("%s (layer %d) imports %s (layer %d)", from, own, to, below)
			}
		}
	}
	for name := range layer {
		if !there[name] {
			t.Errorf("%s is in the picture and not in the tree", name)
		}
	}
}

func TestOutsidePartsHaveTheirOnlyImporters(t *testing.T) {
	for _, p := range list(t) {
		from := inTree(p.ImportPath)
		for _, imp := range p.Imports {
			for part, allowed := range onlyImporters {
				if imp != part && !strings.HasPrefix(imp, part+"/") {
					continue
				}
				if from == "" && from != p.ImportPath {
					continue // test helpers may talk to what they test
				}
				ok := false
				for _, a := range allowed {
					ok = ok || a == from
				}
				if !ok {
					t.Errorf("%s imports %s, which only %v may", from, imp, allowed)
				}
			}
		}
	}
}

func TestLowLayersDoNoIO(t *testing.T) {
	layer, pure := layers(t)
	for _, p := range list(t) {
		from := inTree(p.ImportPath)
		own, drawn := layer[from]
		// What is configured is read from the environment, metrics are served.
		if !drawn || own > pure || from == "internal/config" || from == "internal/metrics" {
			continue
		}
		for _, imp := range p.Imports {
			if slices.Contains(impure, imp) {
				t.Errorf("%s (layer %d) imports %s", from, own, imp)
			}
		}
	}
}
