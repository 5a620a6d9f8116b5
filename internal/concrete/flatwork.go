package concrete

import (
	"math"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// JointSpacing returns how far apart joints of a slab may lie: 24 times the
// thickness for small aggregate, 36 for stiff mixes (ACI 302.1R-80). Thickness
// and spacing are in the same unit; "2 to 3 times" is feet for inches.
func JointSpacing(thickness unit.Metres) (low, high unit.Metres) {
	return 24 * thickness, 36 * thickness
}

// PanelRules holds a slab's size against its thickness.
func PanelRules(length, width, thickness unit.Metres) []Rule {
	var rules []Rule
	long, short := max(length, width), min(length, width)
	low, high := JointSpacing(thickness)
	switch {
	case long > high:
		rules = append(rules, Rule{ID: "panel-long", Severity: Watch, SourceData: message.New(sourceJointSpacing),
			Figure: figure("panel_m", float64(long), float64(high)),
			Data:   says(message.New(RulePanelLong, message.Length("side", long)))})
	case long > low:
		rules = append(rules, Rule{ID: "panel-long", Severity: Note, SourceData: message.New(sourceJointSpacing),
			Figure: figure("panel_m", float64(long), float64(low)),
			Data:   says(message.New(RulePanelMedium, message.Length("side", long)))})
	}
	if long > 5 && long <= high {
		rules = append(rules, Rule{ID: "panel-5m", Severity: Note, SourceData: message.New(sourceLongestPanel),
			Figure: figure("panel_m", float64(long), 5),
			Data:   says(message.New(RulePanelFive, message.Length("limit", 5)))})
	}
	if ratio := float64(long / short); ratio > 1.5+1e-9 {
		rules = append(rules, Rule{ID: "panel-narrow", Severity: Note, SourceData: message.New(sourceJointSpacing),
			Figure: figure("side_ratio", ratio, 1.5),
			Data:   says(message.New(RulePanelNarrow, message.Number("ratio", math.Round(ratio*10)/10)))})
	}
	switch {
	case thickness.Inches() < 2-1e-9:
		rules = append(rules, Rule{ID: "thin", Severity: Watch, SourceData: message.New(sourceThinSlab),
			Figure: figure("thickness_mm", float64(thickness)*1000, 51),
			Data:   says(message.New(RuleThin))})
	case thickness.Inches() < 3.5-1e-9:
		rules = append(rules, Rule{ID: "thin", Severity: Note, SourceData: message.New(sourceCodeSlab),
			Figure: figure("thickness_mm", float64(thickness)*1000, 89),
			Data:   says(message.New(RuleThinForCodes))})
	}
	return rules
}

// FinishRules speaks of a finish asked of exterior concrete: broom or trowel.
func FinishRules(finish string, freezes bool) []Rule {
	var rules []Rule
	if finish == "trowel" {
		rules = append(rules, Rule{ID: "trowel-air", Severity: Watch, SourceData: message.New(sourceAirTrowel),
			Data: says(message.New(RuleTrowelAir))})
	}
	if freezes {
		rules = append(rules, Rule{ID: "air-entrained", Severity: Note,
			SourceData: message.New(sourceAirEntrained),
			Data:       says(message.New(RuleAirEntrained, message.Strength("least", 24)))})
	}
	return rules
}

// BondBreakRule is the caution for a slab cast against one that is already
// there.
func BondBreakRule() Rule {
	return Rule{ID: "bond-break", Severity: Note, SourceData: message.New(SourceCommonPractice),
		Data: says(message.New(RuleBondBreak))}
}

// ExtraWaterLoss returns what water beyond the label costs in 28-day strength,
// in MPa: 150 to 200 psi for a US gallon in a cubic yard (trade rule, quoted
// by suppliers). extraL is litres a bag of yieldL litres of concrete.
func ExtraWaterLoss(extraL, yieldL float64) (low, high float64) {
	if !(extraL > 0) || !(yieldL > 0) {
		return 0, 0
	}
	const (
		psi     = 0.00689475729 // MPa, NIST SP 811
		yardL   = 27 * unit.MetresPerFoot * unit.MetresPerFoot * unit.MetresPerFoot * 1000
		gallons = yardL / unit.LitresPerGallon
	)
	g := extraL / yieldL * gallons
	return 150 * psi * g, 200 * psi * g
}
