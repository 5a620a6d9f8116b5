package pour

import (
	"regexp"
	"time"

	"dryslot/internal/unit"
)

// Rule is what the validation asks of one field by itself; rules between
// fields come on top.
type Rule struct {
	Min, Max *float64 // of a number
	Words    []string // that a text may be; nil: any
	Most     int      // items of a list, characters of a text; 0: not bounded
}

var listIndex = regexp.MustCompile(`\[[0-9]+\]`)

func (c *checker) note(path string, r Rule) {
	if c.rules != nil {
		c.rules[listIndex.ReplaceAllString(path, "")] = r
	}
}

// SpecRules returns the rules of a project's fields by their path without list
// indexes, such as pads.length_m. They are read from the validation itself, run
// over a project that has one of everything.
func SpecRules() map[string]Rule {
	c := &checker{rules: map[string]Rule{}}
	s, number, clock, set := DefaultSpec(), 1.0, unit.Clock(0), ""
	bags, at := 1, time.Unix(0, 0)
	s.Units, s.ElevationM, s.Limits.Harm = unitNames[0], &number, &number
	s.Mix.BagTemperatureC, s.Mix.WaterTemperatureC = &number, &number
	s.Mix.LabelInitialSetMin, s.Mix.LabelWalkOnH, s.Mix.WaterUsedLPerBag, s.Mix.SlumpMM = &number, &number, &number,
		&number
	s.Practice.CuringDays, s.Site.Shade = &number, []Shade{{}}
	s.Stock = Stock{BagsOnHand: &bags, CountedAt: &at, Deliveries: []Delivery{{}},
		Covers: []Cover{{ResistanceM2KW: &number, AreaM2: &number}}}
	s.Site.MorningShadeUntil, s.Site.AfternoonShadeFrom, s.Site.BaseSandM = &clock, &clock, &number
	s.FormSets = []FormSet{{}}
	s.Pads = []Pad{{EdgeThicknessM: &number, FormSet: &set, After: []After{{Pad: "another"}}}}
	c.spec(s)
	return c.rules
}

// EntryRules returns the same of a log entry.
func EntryRules() map[string]Rule {
	c := &checker{rules: map[string]Rule{}}
	number := 1.0
	for _, kind := range EntryKinds() {
		e := LogEntry{Kind: kind, RainMM: &number, Bags: &number, WaterL: &number, Minutes: &number, Cover: "none",
			Result: "none", Ratings: &Ratings{"-", "-", "-", "-"}}
		c.entry(Spec{}, e, time.Time{})
	}
	return c.rules
}
