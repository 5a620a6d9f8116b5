package check_test

import (
	"strings"
	"testing"
	"time"

	"dryslot/internal/measure/check"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

var day = unit.Date{Year: 2026, Month: time.May, Day: 5} // a Tuesday

func at(d unit.Date, hm string) time.Time {
	c, err := unit.ParseClock(hm)
	if err != nil {
		panic(err)
	}
	return d.At(c, time.UTC)
}

// sound is a project and a plan of two pads on two days that breaks no rule.
func sound() (check.Situation, []check.Day) {
	set, bags := "S", 8
	earliest, latest := unit.Clock(6*60), unit.Clock(19*60)
	spec := pour.Spec{
		Crew: pour.Crew{
			People:            1,
			BagsPerHour:       7,
			StrikeOffMinPerM2: 8,
			FinishMinPerM2:    12,
			EarliestStart:     earliest,
			LatestFinish:      latest,
			Days:              []string{"mon", "tue", "wed", "thu", "fri"},
		},
		Limits: pour.Limits{
			RainRisk: 0.1,
		}, Stock: pour.Stock{BagsOnHand: &bags}, FormSets: []pour.FormSet{{Name: "S", Count: 1, Cells: 1}},
		Pads: []pour.Pad{
			{Name: "A", LengthM: 1, WidthM: 1, ThicknessM: 0.075, FormSet: &set},
			{
				Name:       "B",
				LengthM:    1,
				WidthM:     1,
				ThicknessM: 0.075,
				FormSet:    &set,
				After:      []pour.After{{Pad: "A", Until: pour.Stripped}},
			},
		},
	}
	s := check.Situation{
		Spec:  spec,
		Now:   at(day.AddDays(-1), "19:00"),
		Zone:  time.UTC,
		Bags:  map[string]int{"A": 4, "B": 4},
		Light: func(d unit.Date) (time.Time, time.Time, bool) { return at(d, "05:30"), at(d, "20:30"), true },
	}
	pad := func(name string, d unit.Date) check.Timed {
		return check.Timed{
			Pad:         name,
			PlaceStart:  at(d, "07:30"),
			PlaceEnd:    at(d, "08:15"),
			FinishStart: at(d, "10:00"),
			FinishEnd:   at(d, "10:15"),
			FinishFrom: at(
				d,
				"09:50",
			),
			FinishUntil:    at(d, "12:00"),
			StripFrom:      at(d.AddDays(1), "06:30"),
			CuredBy:        at(d.AddDays(7), "08:00"),
			ChanceUnharmed: 0.95,
		}
	}
	return s, []check.Day{
		{Date: day, Start: at(day, "07:00"), End: at(day, "10:45"), Pads: []check.Timed{pad("A", day)}},
		{
			Date:  day.AddDays(1),
			Start: at(day.AddDays(1), "07:00"),
			End:   at(day.AddDays(1), "10:45"),
			Pads:  []check.Timed{pad("B", day.AddDays(1))},
		},
	}
}

func TestASoundPlanBreaksNothing(t *testing.T) {
	if faults := check.Plan(sound()); len(faults) != 0 {
		t.Fatalf("sound plan: %v", faults)
	}
}

// Each rule is broken alone, and the checker must say so.
func TestEachBrokenRuleIsNamed(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*check.Situation, []check.Day)
		want  string
	}{
		"unknown pad": {func(_ *check.Situation, d []check.Day) { d[0].Pads[0].Pad = "Z" }, "no such pad"},
		"twice":       {func(_ *check.Situation, d []check.Day) { d[1].Pads[0].Pad = "A" }, "planned twice"},
		"poured already": {func(s *check.Situation, _ []check.Day) {
			s.Records = []pour.PadRecord{{Pad: "A", State: pour.Stripped}}
		}, "already"},
		"lost that day": {func(s *check.Situation, _ []check.Day) {
			lost := at(day, "05:00")
			s.Records = []pour.PadRecord{{Pad: "A", State: pour.Lost, LostAt: &lost}}
		}, "lost that day"},
		"day off": {func(s *check.Situation, _ []check.Day) {
			s.Spec.Crew.Days = []string{"wed"}
		}, "does not work"},
		"too early": {func(s *check.Situation, _ []check.Day) {
			s.Spec.Crew.EarliestStart = 7*60 + 5
		}, "earliest start"},
		"too late": {func(s *check.Situation, _ []check.Day) {
			s.Spec.Crew.LatestFinish = 10 * 60
		}, "latest finish"},
		"in the past": {func(s *check.Situation, _ []check.Day) { s.Now = at(day, "08:00") }, "before now"},
		"dark": {func(s *check.Situation, _ []check.Day) {
			s.Light = func(d unit.Date) (time.Time, time.Time, bool) { return at(d, "08:00"), at(d, "20:00"), true }
		}, "light"},
		"order": {func(_ *check.Situation, d []check.Day) {
			d[0].Pads[0].StripFrom = at(day.AddDays(1), "08:00")
		}, "only at"},
		"order never": {func(_ *check.Situation, d []check.Day) {
			d[0].Pads[0].StripFrom = time.Time{}
		}, "never stripped"},
		"before window": {func(_ *check.Situation, d []check.Day) {
			d[0].Pads[0].FinishFrom = at(day, "10:05")
		}, "before its window"},
		"after window": {func(_ *check.Situation, d []check.Day) {
			d[0].Pads[0].FinishUntil = at(day, "10:05")
		}, "after its window"},
		"hands": {func(s *check.Situation, _ []check.Day) { s.Spec.Crew.BagsPerHour = 4 }, "person-minutes"},
		"two places": {func(_ *check.Situation, d []check.Day) {
			d[0].Pads[0].FinishStart, d[0].Pads[0].FinishEnd = at(day, "10:00"), at(day, "10:05")
		}, "person-minutes"},
		"material": {func(s *check.Situation, _ []check.Day) { n := 7; s.Spec.Stock.BagsOnHand = &n }, "bags"},
		"material of a loss": {func(s *check.Situation, _ []check.Day) {
			lost := at(day.AddDays(-1), "09:00")
			s.Records = []pour.PadRecord{{Pad: "A", State: pour.Lost, LostAt: &lost, Losses: 1}}
		}, "12 bags are used and 8 are there"},
		"risk": {func(_ *check.Situation, d []check.Day) { d[1].Pads[0].ChanceUnharmed = 0.89 }, "rain_risk"},
		"form set": {func(s *check.Situation, d []check.Day) {
			s.Spec.Pads[1].After = nil
			d[0].Pads[0].StripFrom = at(day.AddDays(1), "08:00")
		}, "form set"},
		"form held by log": {func(s *check.Situation, d []check.Day) {
			s.Spec.Pads[1].After = nil
			s.Records = []pour.PadRecord{{Pad: "A", State: pour.Finished}}
			s.FreeAt = map[string]time.Time{"A": at(day.AddDays(1), "08:00")}
			d[0].Pads = nil
		}, "form set"},
		"backwards": {func(_ *check.Situation, d []check.Day) {
			d[0].Pads[0].FinishStart = at(day, "08:00")
		}, "backwards"},
		"days out of line": {func(_ *check.Situation, d []check.Day) { d[0], d[1] = d[1], d[0] }, "come after"},
	} {
		s, days := sound()
		c.spoil(&s, days)
		if faults := strings.Join(check.Plan(s, days), "\n"); !strings.Contains(faults, c.want) {
			t.Errorf("%s: faults %q lack %q", name, faults, c.want)
		}
	}
}
