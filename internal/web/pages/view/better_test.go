package view

import (
	"strings"
	"testing"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Pads that want for the same stand together, with what would place them.
func TestUnplacedPadsSayWhatWouldPlaceThem(t *testing.T) {
	chance := 0.97
	june := unit.Date{Year: 2026, Month: 6, Day: 8}
	more := &pour.Option{Date: june, Change: "have 8 more bags at hand by Mon 8 Jun", Verdict: "pour",
		ChanceUnharmed: &chance}
	s := Setting{Plan: pour.Plan{Unplaced: []pour.Unplaced{
		{Pad: "A3", WhyData: message.New(job.UnplacedNoMorning, message.Name("pad", "A3")), Better: more},
		{Pad: "A4", WhyData: message.New(job.UnplacedNoMorning, message.Name("pad", "A4")), Better: more},
		{Pad: "B1", WhyData: message.New(job.UnplacedTaken, message.Name("pad", "B1"), message.Date("", june))},
	}}}
	s.Project.Units, s.Zone, s.Reader = "metric", time.UTC, say.HabitsOf("en")
	got := s.unplaced()
	want := []string{"A3, A4: ", "B1: "}
	if len(got) == 2 && (!strings.Contains(got[0], "97%") || strings.Count(got[0], "A3") != 1) {
		t.Errorf("%q", got)
	}
	for i := range want {
		if len(got) != len(want) || !strings.HasPrefix(got[i], want[i]) {
			t.Errorf("got %q", got)
			break
		}
	}
}
