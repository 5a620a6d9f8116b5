package takeoff

import (
	"math"
	"slices"

	"dryslot/internal/concrete"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Codes of the takeoff's own cautions.
const (
	// low_mpa, high_mpa: what the label's most water costs of the 28-day strength
	WetMix         message.Code = "wet_mix"
	WaterUsed      message.Code = "water_used"       // used_l, label_l, low_mpa, high_mpa
	WaterPastLabel message.Code = "water_past_label" // most_l
	AtYourPace     message.Code = "at_your_pace"     // moved_kg an hour by one person
	sourceWater    message.Code = "source_water"     // of the cautions on water
)

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
		r.Data = append(r.Data, message.New(AtYourPace, message.Mass("moved", unit.Kilograms(p.MovedTPersonHour*1000))))
		rules = append(rules, *r)
	}
	if l := p.StrengthLossMPa; l != nil && l.High >= 1 {
		rules = append(rules, concrete.Rule{ID: "wet-mix", Severity: concrete.Note,
			SourceData: message.New(sourceWater),
			Figure:     &concrete.RuleFigure{Name: "strength_loss_mpa", Value: l.High, Limit: 0},
			Data: []message.Message{message.New(WetMix, message.Strength("low", l.Low), message.Strength("high",
				l.High))}})
	}
	if r := waterUsed(s.Mix); r != nil {
		rules = append(rules, *r)
	}
	heaviest := unit.Kilograms(0)
	for _, p := range s.Pads {
		heaviest = max(heaviest, concrete.FinishedWeight(PadVolumeL(s, p)))
	}
	if heaviest > concrete.LiftLimit {
		rules = append(rules, concrete.PadWeightRule(heaviest))
	}
	return append(append(rules, concrete.FinishRules(s.Crew.Finish, false)...), concrete.MixingRules()...)
}

// waterUsed speaks of water beyond the label's, as used or as the slump asked for
// takes; nil where there is none.
func waterUsed(m pour.Mix) *concrete.Rule {
	used := WaterL(m)
	if used <= m.WaterLPerBag+1e-9 {
		return nil
	}
	low, high := concrete.ExtraWaterLoss(used-m.WaterLPerBag, m.YieldLPerBag)
	r := &concrete.Rule{ID: "water-used", Severity: concrete.Watch, SourceData: message.New(sourceWater),
		Figure: &concrete.RuleFigure{Name: "water_l_per_bag", Value: used, Limit: m.WaterLPerBag},
		Data: []message.Message{message.New(WaterUsed, message.Volume("used", used), message.Volume("label",
			m.WaterLPerBag),
			message.Strength("low", low), message.Strength("high", high))}}
	if used > m.WaterLPerBagMax+1e-9 {
		r.Severity = concrete.Act
		r.Data = append(r.Data, message.New(WaterPastLabel, message.Volume("most", m.WaterLPerBagMax)))
	}
	return r
}

// Worded returns the takeoff with its cautions worded by say.
func (t Takeoff) Worded(say func(message.Message) string) Takeoff {
	t.Project.Cautions = concrete.Worded(t.Project.Cautions, say)
	t.Pads = slices.Clone(t.Pads)
	for i := range t.Pads {
		t.Pads[i].Cautions = concrete.Worded(t.Pads[i].Cautions, say)
	}
	return t
}
