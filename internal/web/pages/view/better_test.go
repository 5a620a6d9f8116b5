package view

import (
	"testing"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Pads that want for the same stand together, with what would place them.
func TestUnplacedPadsSayWhatWouldPlaceThem(t *testing.T) {
	chance := 0.97
	june := unit.Date{Year: 2026, Month: 6, Day: 8}
	more := &pour.Option{Date: june, Change: "have 8 more bags at hand by Mon 8 Jun", Verdict: "pour", ChanceUnharmed: &chance}
	s := Setting{Plan: pour.Plan{Unplaced: []pour.Unplaced{
		{Pad: "A3", Why: "A3 takes 5 bags, and 2 are left of those on hand and ordered: 3 are missing", Better: more},
		{Pad: "A4", Why: "A4 takes 5 bags, and 2 are left of those on hand and ordered: 3 are missing", Better: more},
		{Pad: "B1", Why: "on the best morning in sight, Wed 10 Jun, B1 would be lost with a chance of 22 %; the limit is 10 %"},
	}}}
	s.Project.Units, s.Zone, s.Reader = "metric", time.UTC, say.HabitsOf("en")
	got := s.unplaced()
	want := []string{
		"A3, A4: It takes 5 bags, and 2 are left of those on hand and ordered: 3 are missing. Better: have 8 more bags at hand by Mon 8 Jun, 97% chance it survives.",
		"B1: On the best morning in sight, Wed 10 Jun, it would be lost with a chance of 22 %; the limit is 10 %.",
	}
	for i := range want {
		if len(got) != len(want) || got[i] != want[i] {
			t.Errorf("got %q", got)
			break
		}
	}
}
