package checkedtest

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// recorder takes the failures that a check reports.
type recorder struct {
	testing.TB
	failed, fatal bool
}

func (r *recorder) Helper()               {}
func (r *recorder) Errorf(string, ...any) { r.failed = true }
func (r *recorder) Fatalf(string, ...any) { r.fatal = true; panic(r) }

func try(t *testing.T, f func(testing.TB)) (failed, fatal bool) {
	r := &recorder{TB: t}
	defer func() {
		if p := recover(); p != nil && p != any(r) {
			panic(p)
		}
		failed, fatal = r.failed, r.fatal
	}()
	f(r)
	return
}

func TestAFarFigureFails(t *testing.T) {
	for _, c := range []struct {
		got, want, tol float64
		fails          bool
	}{{1, 1, 0, false}, {1.1, 1, 0.05, true}, {math.NaN(), 1, 5, true}, {1, math.NaN(), 5, true}} {
		if failed, _ := try(t, func(tb testing.TB) {
			Near(tb, CommonPractice, "x", c.got, c.want, c.tol)
		}); failed != c.fails {
			t.Errorf("Near(%v, %v, %v) failed: %v", c.got, c.want, c.tol, failed)
		}
	}
	if failed, _ := try(t, func(tb testing.TB) { Between(tb, FromMemory, "x", 3, 1, 2) }); !failed {
		t.Error("3 passed as between 1 and 2")
	}
	if failed, _ := try(t, func(tb testing.TB) { That(tb, FromMemory, false, "x") }); !failed {
		t.Error("false passed")
	}
}

func TestACheckWithoutSourceIsRefused(t *testing.T) {
	for _, s := range []string{"", "  ", "two\nlines"} {
		if _, fatal := try(t, func(tb testing.TB) { Near(tb, s, "x", 1, 1, 0) }); !fatal {
			t.Errorf("source %q was taken", s)
		}
	}
}

func TestEveryCheckIsCounted(t *testing.T) {
	name := filepath.Join(t.TempDir(), "checks")
	t.Setenv(Env, name)
	for range 3 {
		Near(t, "Menzel 1954", "x", 1, 1, 0)
	}
	That(t, Memory("ACI 306R"), true, "x")
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := string(b), strings.Repeat("Menzel 1954\n", 3)+"from memory: ACI 306R\n"; got != want {
		t.Errorf("counted %q, want %q", got, want)
	}
}
