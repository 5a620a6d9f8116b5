package checkedtest

import (
	"math"
	"slices"
	"testing"
)

// recorder takes the failures and the attributes that a check reports.
type recorder struct {
	testing.TB
	failed, fatal bool
	attrs         []string
}

func (r *recorder) Helper()                {}
func (r *recorder) Errorf(string, ...any)  { r.failed = true }
func (r *recorder) Fatalf(string, ...any)  { r.fatal = true; panic(r) }
func (r *recorder) Attr(key, value string) { r.attrs = append(r.attrs, key+" "+value) }

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
	r := &recorder{TB: t}
	for range 3 {
		Near(r, "Menzel 1954", "x", 1, 1, 0)
	}
	That(r, Memory("ACI 306R"), true, "x")
	want := []string{"check Menzel 1954", "check Menzel 1954", "check Menzel 1954", "check from memory: ACI 306R"}
	if !slices.Equal(r.attrs, want) {
		t.Errorf("counted %q, want %q", r.attrs, want)
	}
}
