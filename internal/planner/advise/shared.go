package advise

import (
	"cmp"
	"math"
	"slices"

	"dryslot/internal/concrete"
	"dryslot/internal/planner/policy"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// CautionShare is the share of the members from which on a caution of the weather
// comes, and from which on it presses as it would in those members (judgement:
// one in five).
const CautionShare = 0.2

// sharedRule is a rule of the trade with the share of the members it holds in.
type sharedRule struct {
	concrete.Rule
	share float64
}

// sharedRules asks the concrete's own rules of cold, heat, drying and the crew
// under each of the tracks.
func (f *Adviser) sharedRules(x *policy.DayWork, w *spreads) []sharedRule {
	total := 0.0
	found := map[string][]weighedRule{}
	var order []string
	for i := range w.samples {
		s := &w.samples[i]
		total += s.weight
		for _, r := range f.rules(s, x) {
			if found[r.ID] == nil {
				order = append(order, r.ID)
			}
			found[r.ID] = append(found[r.ID], weighedRule{r, s.weight})
		}
	}
	var all []sharedRule
	for _, id := range order {
		if r, ok := commonOf(found[id], total); ok {
			all = append(all, r)
		}
	}
	return all
}

type weighedRule struct {
	concrete.Rule
	weight float64
}

// pressing orders severities.
func pressing(s concrete.Severity) int {
	return slices.Index([]concrete.Severity{concrete.Note, concrete.Watch, concrete.Act}, s)
}

// commonOf returns the rule as it stands for the members: as pressing as in
// CautionShare of them, with the figure in their middle.
func commonOf(rules []weighedRule, total float64) (sharedRule, bool) {
	for _, s := range []concrete.Severity{concrete.Act, concrete.Watch, concrete.Note} {
		sum := 0.0
		var in []weighedRule
		for _, r := range rules {
			if pressing(r.Severity) >= pressing(s) {
				sum += r.weight
				in = append(in, r)
			}
		}
		if sum < CautionShare*total-1e-9 {
			continue
		}
		slices.SortStableFunc(in, func(a, b weighedRule) int { return cmp.Compare(value(&a), value(&b)) })
		seen := 0.0
		for _, r := range in {
			if seen += r.weight; seen >= sum/2-1e-9 {
				r.Severity = s
				return sharedRule{r.Rule, sum / total}, true
			}
		}
	}
	return sharedRule{}, false
}

func value(r *weighedRule) float64 {
	if r.Figure == nil {
		return 0
	}
	return r.Figure.Value
}

// rules are those that hold under one track.
func (f *Adviser) rules(s *sample, x *policy.DayWork) []concrete.Rule {
	opt := func(v float64) unit.Opt {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return unit.Opt{}
		}
		return unit.Some(v)
	}
	p, m := &f.Pads[x.Pads[0]], &f.Spec.Mix
	cold := concrete.ColdInput{Thickness: unit.Metres(p.ThicknessM), MixC: opt(s.mix), AirC: s.placed,
		AirMinC: opt(s.youngMin), SlabMinC: opt(s.slabMin), CornerC: opt(s.corner), GroundFrozen: s.frozen,
		Accelerated: m.Cement == "rapid" || m.Admixture == string(concrete.Accelerator), Spell: s.spell,
		UncoverDropK: opt(s.drop)}
	if b := m.BagTemperatureC; b != nil {
		cold.Bag = f.bagAt(*b)
	} else if mean, ok := slabs.MeanBefore(concrete.Hourly{Start: f.Start, AirC: f.Air(s.track)}, f.Clock(x.Start),
		24); ok {
		cold.Bag = f.bagAt(mean)
	}
	rules := concrete.ColdRules(cold)
	rules = append(rules, concrete.HotRules(concrete.HotInput{MixC: opt(s.mix), AirMaxC: opt(s.airMax),
		EvapPeak: opt(s.evap), Bag: cold.Bag})...)
	if s.crust >= concrete.CrustWorthSaying {
		rules = append(rules, concrete.CrustRule(policy.Round4(s.crust), f.Clock(s.crusts)))
	}
	if f.Cover.Cover != "" || len(f.Spec.Stock.Covers) > 0 {
		if r := concrete.SheetsRule(s.wind); r != nil {
			rules = append(rules, *r)
		}
	}
	return append(rules, concrete.CrewWeather(opt(s.heat), opt(s.chill), s.sunny)...)
}

func (f *Adviser) bagAt(c float64) *concrete.BagWater {
	m := &f.Spec.Mix
	return &concrete.BagWater{BagC: unit.Celsius(c), BagKg: unit.Kilograms(m.BagKg), WaterL: takeoff.WaterL(*m)}
}
