package concrete

import (
	"math"
	"time"

	"dryslot/internal/message"
)

// oldMixMin is how long a mix is worked at most (ASTM C94, from memory: 90
// minutes from the first water, less in heat).
const oldMixMin = 90

// MixingRules are what to look at while mixing, whatever the weather.
func MixingRules() []Rule {
	return []Rule{
		{ID: "lumpy-bags", Severity: Note, SourceData: message.New(SourceCommonPractice),
			Data: says(message.New(RuleLumpyBags))},
		{ID: "old-mix", Severity: Note, SourceData: message.New(sourceOldMix),
			Data: says(message.New(RuleOldMix, message.Duration("limit", oldMixMin*time.Minute)))},
	}
}

// gustsLift is the mean wind at 10 m from which on gusts lift weighed sheets
// (Beaufort 5, 8 m/s: small trees sway; judgement).
const gustsLift = 8.0

// SheetsRule speaks of covers in wind; nil where there is too little.
func SheetsRule(windMS float64) *Rule {
	if !(windMS >= gustsLift) {
		return nil
	}
	return &Rule{ID: "sheets-lift", Severity: Watch, SourceData: message.New(sourceSheetsLift),
		Figure: figure("wind_m_s", windMS, gustsLift),
		Data:   says(message.New(RuleSheetsLift, message.Speed("wind", windMS)))}
}

// CuringRule speaks of how long a slab is kept damp, by a method, against how
// long it needs; told is the number of days that the builder gave.
func CuringRule(method string, told *float64, needs float64) Rule {
	days := needs
	switch {
	case method == "none":
		days = 0
	case told != nil:
		days = *told
	}
	r := Rule{ID: "curing", Severity: Note,
		SourceData: message.New(sourceCuring),
		Figure:     figure("curing_days", days, needs)}
	if days < needs-0.5 {
		r.Severity = Watch
		r.Data = says(message.New(RuleCuringShort, message.Number("days", math.Round(days)), message.Number("needs",
			math.Round(needs)),
			message.Chance("lost", 1-CuringLeft(days)/CuringLeft(needs))))
		return r
	}
	r.Data = says(message.New(RuleCuring, message.Number("days", math.Round(days)), message.Term("curing",
		"curing_"+method)))
	return r
}

// ChipRule speaks of edges that may chip when the forms come off.
func ChipRule(chance float64) Rule {
	return Rule{ID: "chipped-edges", Severity: Note,
		SourceData: message.New(sourceChips), Figure: figure("chip_chance", chance, 0.08),
		Data: says(message.New(RuleChips, message.Chance("", chance)))}
}
