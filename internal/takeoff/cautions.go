package takeoff

import (
	"fmt"
	"math"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// WetMix is the code of what the most water that the label allows costs: low_mpa
// and high_mpa of the strength at 28 days.
const WetMix message.Code = "wet_mix"

func padCautions(s pour.Spec, p pour.Pad) []concrete.Rule {
	rules := concrete.PanelRules(unit.Metres(p.LengthM), unit.Metres(p.WidthM), unit.Metres(p.ThicknessM))
	for _, q := range s.Pads {
		if q.Name != p.Name && touch(p, q) {
			rules = append(rules, concrete.BondBreakRule())
			break
		}
	}
	if rules == nil {
		rules = []concrete.Rule{}
	}
	return rules
}

// touch reports whether two pads share a stretch of a side: a gap of 5 mm is
// a drawing's rounding, not a board. Pads drawn over each other do not touch.
func touch(p, q pour.Pad) bool {
	const slack, least = 0.005, 0.01
	overlap := func(a, al, b, bl float64) float64 { return math.Min(a+al, b+bl) - math.Max(a, b) }
	x, y := overlap(p.XM, p.LengthM, q.XM, q.LengthM), overlap(p.YM, p.WidthM, q.YM, q.WidthM)
	return math.Abs(x) <= slack && y > least || math.Abs(y) <= slack && x > least
}

func projectCautions(s pour.Spec, p Project) []concrete.Rule {
	rules := []concrete.Rule{}
	perHour := s.Crew.BagsPerHour * max(1, s.Crew.MovesPerBag)
	if r := concrete.LiftRule(unit.Kilograms(s.Mix.BagKg), perHour); r != nil {
		r.Text += fmt.Sprintf(" At your pace one person moves %.2f t (%.0f lb) an hour.", p.MovedTPersonHour, unit.Kilograms(p.MovedTPersonHour*1000).Pounds())
		rules = append(rules, *r)
	}
	if l := p.StrengthLossMPa; l != nil && l.High >= 1 {
		rules = append(rules, concrete.Rule{ID: "wet-mix", Severity: concrete.Note, Source: "suppliers' rule: 150 to 200 psi for a gallon in a cubic yard",
			Figure: &concrete.RuleFigure{Name: "strength_loss_mpa", Value: l.High, Limit: 0},
			Text: fmt.Sprintf("Adding water up to the label's maximum makes it easier to place but costs up to %.0f MPa (%.0f psi) of strength.",
				l.High, l.High*unit.PSIPerMPa),
			Data: message.New(WetMix, message.Strength("low", l.Low), message.Strength("high", l.High))})
	}
	heaviest := unit.Kilograms(0)
	for _, p := range s.Pads {
		heaviest = max(heaviest, concrete.FinishedWeight(PadVolumeL(s, p)))
	}
	if heaviest > concrete.LiftLimit {
		rules = append(rules, concrete.PadWeightRule(heaviest))
	}
	rules = append(rules, concrete.FinishRules(s.Crew.Finish, false)...)
	return rules
}
