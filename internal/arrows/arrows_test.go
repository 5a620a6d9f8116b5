// Package arrows holds the architecture as a test: a room imports rooms on
// lower floors only, and each outside part has its only importers.
package arrows

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"strings"
	"testing"
)

// floors gives every room its floor. A room that is not named here fails the
// test, so that a new one is placed on purpose.
var floors = map[string]int{
	"internal/unit": -2, "internal/message": -1, // a code with its figures, before say words it
	"internal/fault": 0, "internal/paging": 0, "internal/idempotency": 0, "internal/metrics": 0, "internal/config": 1, // reports its mistakes as faults
	"internal/pour":     1,
	"internal/concrete": 2, "internal/daylight": 2, "internal/place": 2,
	"internal/measure/check": 2, // the independent checker of plans
	"internal/forecast":      3, "internal/takeoff": 3,
	"internal/forecast/belief": 4, "internal/planner/harm": 5, "internal/planner/slabs": 6, "internal/planner/job": 7, "internal/planner/crewday": 7,
	"internal/planner/policy": 8, "internal/planner/advise": 9, "internal/planner/hourly": 7, // between them: what planner will be made of
	"internal/history": 7, // the log replayed
	"internal/planner": 10, "internal/learn": 10, "internal/today": 10,
	"internal/notify": 11, "internal/work": 11, // kinds of queued work
	"internal/say":      11,                                                                           // every sentence, worded last
	"internal/projects": 12, "internal/alerts": 12, "internal/fetching": 12, "internal/retention": 12, // the services
	"internal/accounts": 12,                                // who may sign in
	"internal/web/draw": 12, "internal/web/pages/view": 13, // pictures and pages from plain data
	"internal/web": 13, "internal/jobs": 13, "internal/postgres": 13, "internal/postgres/local": 13,
	"internal/forecast/openmeteo": 13, "internal/forecast/metnorway": 13, "internal/forecast/nws": 13, "internal/forecast/replay": 13,
	"internal/forecast/fetch": 12, // what the feeds share: one bounded, polite HTTP request
	"internal/notify/email":   13, "internal/notify/webhook": 13,
	"internal/web/api": 14, "internal/web/pages": 14,
	"internal/app": 15, // the wiring that both commands share
	"cmd/api":      16, "cmd/worker": 16,
	// Measuring, outside the service: nothing above imports them.
	"internal/measure/emulate": 10, "internal/measure/backtest": 11, "internal/measure/backtest/run": 16,
	"internal/load": 13, "internal/load/run": 16,
}

// onlyImporters names the rooms that alone may import an outside part.
var onlyImporters = map[string][]string{
	"gonum.org/v1/gonum":                             {"internal/concrete", "internal/measure/emulate", "internal/measure/backtest"},
	"github.com/kelvins/sunrisesunset":               {"internal/daylight"},
	"github.com/ringsaturn/tzf":                      {"internal/place"},
	"github.com/jackc/pgx/v5":                        {"internal/postgres", "internal/postgres/local"},
	"github.com/pressly/goose/v3":                    {"internal/postgres"},
	"github.com/riverqueue/river":                    {"internal/postgres", "internal/jobs"},
	"github.com/robfig/cron/v3":                      {"internal/jobs"},
	"github.com/wneessen/go-mail":                    {"internal/notify/email"},
	"github.com/standard-webhooks/standard-webhooks": {"internal/notify/webhook"},
	"github.com/labstack/echo/v4":                    {"internal/web", "internal/web/api", "internal/web/pages"},
	"github.com/danielgtaylor/huma/v2":               {"internal/web/api"},
	"github.com/arran4/golang-ical":                  {"internal/web/api"},
	"github.com/evanphx/json-patch":                  {"internal/web/api"},
	"github.com/prometheus/client_golang":            {"internal/metrics"},
	"golang.org/x/text":                              {"internal/say"},
	"github.com/hashicorp/golang-lru":                {"internal/planner/slabs"},
}

// pureFloor is the highest floor that does no I/O and has no clock.
const pureFloor = 12

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

// room is a package's room: test-helper packages have none.
func room(path string) string {
	r := strings.TrimPrefix(path, "dryslot/")
	if strings.HasSuffix(r, "test") && !strings.HasSuffix(r, "/backtest") {
		return ""
	}
	return r
}

func TestARoomImportsLowerFloorsOnly(t *testing.T) {
	for _, p := range list(t) {
		from := room(p.ImportPath)
		if from == "" || from == "internal/arrows" || from == "migrations" || strings.HasPrefix(from, "testdata/") {
			continue
		}
		floor, ok := floors[from]
		if !ok {
			t.Errorf("%s has no floor", from)
			continue
		}
		for _, imp := range p.Imports {
			if !strings.HasPrefix(imp, "dryslot/") {
				continue
			}
			to := room(imp)
			switch {
			case to == "migrations" && from == "internal/postgres":
			case to == "":
				t.Errorf("%s imports the test helper %s", from, imp)
			default:
				if below, ok := floors[to]; !ok || below >= floor {
					t.Errorf("%s (floor %d) imports %s (floor %d)", from, floor, to, below)
				}
			}
		}
	}
}

func TestOutsidePartsHaveTheirOnlyImporters(t *testing.T) {
	for _, p := range list(t) {
		from := room(p.ImportPath)
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

func TestLowFloorsDoNoIO(t *testing.T) {
	for _, p := range list(t) {
		from := room(p.ImportPath)
		floor, ok := floors[from]
		if !ok || floor > pureFloor || from == "internal/config" || from == "internal/metrics" || from == "internal/forecast/fetch" {
			continue
		}
		for _, imp := range p.Imports {
			for _, bad := range impure {
				if imp == bad {
					t.Errorf("%s (floor %d) imports %s", from, floor, imp)
				}
			}
		}
	}
}
