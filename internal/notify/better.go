package notify

import (
	"strings"

	"dryslot/internal/planner/job"
)

// BetterLine gives a morning's nearest better option in a line: what to do, and
// what comes of it; empty where there is none.
func BetterLine(m job.Morning, r Reader) string {
	b := m.Better
	if b == nil || b.Change == "" {
		return ""
	}
	then := map[job.Verdict]string{job.VerdictPour: "pour", job.VerdictCare: "pour with care", job.VerdictHold: "hold"}[job.Verdict(b.Verdict)]
	if b.Date != m.Date {
		then = "Better: " + then + " " + r.Day(b.Date)
	} else {
		then = "Better: " + r.Own(strings.TrimSuffix(clean(b.Change), ".")) + "; then " + then
	}
	if b.ChanceUnharmed != nil {
		then += ", " + Percent(*b.ChanceUnharmed) + " that no pad is lost"
	}
	return then + "."
}

// turned gives the option that makes another verdict of the morning itself:
// there is time for it on the evening before.
func (b Brief) turned() string {
	m := b.Morning
	if b.Kind != Evening || m.Better == nil || m.Better.Date != b.Date || m.Better.Verdict == string(m.Verdict) {
		return ""
	}
	m.Date = b.Date
	return BetterLine(m, b.reader())
}
