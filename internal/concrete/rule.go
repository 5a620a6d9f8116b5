package concrete

import (
	"fmt"
	"math"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Severity is how pressing a rule's finding is.
type Severity string

// The severities.
const (
	Note  Severity = "note"
	Watch Severity = "watch"
	Act   Severity = "act"
)

// RuleFigure is a computed value beside the limit that it is held against.
type RuleFigure struct {
	Name  string  `json:"name"` // with its unit, such as slab_min_c
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
}

// Rule is one rule of the trade that a pour touches: what was found, against
// what limit, by which document, and what to do.
type Rule struct {
	ID       string      `json:"code"`
	Severity Severity    `json:"severity"`
	Text     string      `json:"text"` // the finding and what to do; temperatures in both scales
	Figure   *RuleFigure `json:"figure"`
	Source   string      `json:"source"` // with edition; says so where it was recalled from memory

	// Data is Text before it is worded; zero of a rule that is a text only.
	Data message.Message `json:"-"`

	Hold   bool     `json:"hold"`    // no pour while it stands
	WaterC unit.Opt `json:"water_c"` // mixing water that would put it right, where water can
}

func figure(name string, value, limit float64) *RuleFigure {
	return &RuleFigure{Name: name, Value: value, Limit: limit}
}

// both writes a temperature in both scales.
func both(c unit.Celsius) string {
	return fmt.Sprintf("%.0f C (%.0f F)", math.Round(float64(c))+0, math.Round(c.Fahrenheit())+0)
}

// bothDiff writes a temperature difference in both scales: 28 K is 50 F.
func bothDiff(d unit.TempDiff) string {
	return fmt.Sprintf("%.0f C (%.0f F)", math.Round(float64(d))+0, math.Round(float64(d)*9/5)+0)
}
