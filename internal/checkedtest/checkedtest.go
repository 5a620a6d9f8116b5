// Package checkedtest is a test helper that owns checks against figures from
// outside: each names its source, is counted, and is listed by `make test`.
// Only _test.go files import it.
//
//	checkedtest.Near(t, "Menzel 1954", "rate", got, 0.288, 0.001)
package checkedtest

import (
	"math"
	"strings"
	"testing"
)

// Attr is the attribute of a test (testing.TB.Attr) that names the source of a
// check, once for each check. `go test -json` prints it, and
// internal/measure/report counts it.
const Attr = "check"

// Sources for figures that nobody published.
const (
	CommonPractice = "common practice"
	FromMemory     = "from memory"
)

// Memory names a document whose figures were recalled and not read again.
func Memory(document string) string { return FromMemory + ": " + document }

// Near fails t unless got lies within tol of want, and counts the check for
// its source. NaN is never near.
func Near(t testing.TB, source, what string, got, want, tol float64) {
	t.Helper()
	count(t, source)
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6g, want %.6g within %.3g (%s)", what, got, want, tol, source)
	}
}

// Between fails t unless got lies from low to high, both counted in.
func Between(t testing.TB, source, what string, got, low, high float64) {
	t.Helper()
	count(t, source)
	if !(got >= low && got <= high) {
		t.Errorf("%s: got %.6g, want %.6g to %.6g (%s)", what, got, low, high, source)
	}
}

// That fails t unless ok, and counts the check for its source.
func That(t testing.TB, source string, ok bool, format string, args ...any) {
	t.Helper()
	count(t, source)
	if !ok {
		t.Errorf(format+" (%s)", append(args, source)...)
	}
}

// count names the source of a check among the test's attributes.
func count(t testing.TB, source string) {
	t.Helper()
	if len(strings.TrimSpace(source)) < 4 || strings.ContainsAny(source, "\r\n\t") {
		t.Fatalf("a check names its source in one line, %q or %q; got %q", CommonPractice, FromMemory, source)
	}
	t.Attr(Attr, source)
}
