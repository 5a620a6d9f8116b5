package planner

import (
	"slices"
	"testing"
)

// Each remedy is what the planner itself answers when it is asked the same.
func TestRemediesAreWorkedOutAnew(t *testing.T) {
	afternoon := func(m, h int) float64 {
		if h%24 >= 16 && m%3 > 0 {
			return 4
		}
		return 0
	}
	job := jobFor(jobJ4(), weather(8, 30, 1, mild, afternoon), 4)
	hour := job.Spec.Crew.EarliestStart
	job.Spec.Crew.EarliestStart = hour + 4*60
	job.Days = light(begin, 5, "03:30", "22:00")
	res := mustMake(t, job)
	m := res.Mornings[0]
	if m.Verdict != VerdictHold {
		t.Fatalf("verdict %s: %s", m.Verdict, m.Reason)
	}
	if len(m.Remedies) == 0 {
		t.Fatal("no remedy for rain every afternoon and a late start")
	}
	for _, r := range m.Remedies {
		asked := job
		w := r.WhatIf
		asked.WhatIf = &w
		got := mustMake(t, asked).Mornings[0]
		if *got.Score != r.Score {
			t.Errorf("%s: told score %d, asked %d", r.Change, r.Score, *got.Score)
		}
	}
	if !slices.ContainsFunc(m.Remedies, func(r Remedy) bool { return r.WhatIf.EarliestStart != nil }) {
		t.Errorf("an earlier start is not among %+v", m.Remedies)
	}
}

func TestABlanketAgainstFrost(t *testing.T) {
	cold := func(k, h int) float64 { return mild(k, h) - 18 + 2 }
	job := jobFor(jobJ4(), weather(8, 30, 1, cold, dry), 4)
	m := mustMake(t, job).Mornings[0]
	if m.Verdict == VerdictPour {
		t.Fatal("poured into frost")
	}
	if !slices.ContainsFunc(m.Remedies, func(r Remedy) bool { return r.WhatIf.Cover != nil && *r.WhatIf.Cover == "blanket" }) {
		t.Errorf("no blanket among %+v", m.Remedies)
	}
}
