package concrete

import (
	"math"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// ColdAirC is the air temperature below which it is cold weather: 40 F.
const ColdAirC = 40.0 / 9 // (40 F - 32) 5/9

// ColdExpected reports cold weather by ACI 306R-16: the air has fallen, or is
// expected to fall, below 40 F during the time of protection.
func ColdExpected(airMinC unit.Celsius) bool { return airMinC < ColdAirC }

// ColdSpell reports, for each day, cold weather by ACI 306R-88: the mean of a
// day's highest and lowest air temperature is below 40 F on more than three
// successive days; it ends once the air is above 10 C for more than half of
// any 24 hours. days holds each local day's hourly air temperatures from
// midnight on, NaN where unknown. An unknown day breaks a run that is not yet
// established, and does not end one that is.
func ColdSpell(days [][]float64) []bool {
	cold := make([]bool, len(days))
	run, in := 0, false
	var last24 []float64
	for i, hours := range days {
		mean, known := dayMean(hours)
		warmed := false
		for _, h := range hours {
			last24 = append(last24, h)
			if len(last24) > 24 {
				last24 = last24[1:]
			}
			warmed = warmed || hoursAbove(last24, 10) > 12
		}
		if known && mean < ColdAirC {
			run++
		} else {
			run = 0
		}
		if run > 3 && !in {
			in = true
			for k := i - run + 1; k < i; k++ {
				cold[k] = true
			}
		}
		cold[i] = in
		if in && warmed {
			in, run = false, 0
		}
	}
	return cold
}

// ColdSpellOn reports ColdSpell for one local date of a weather that covers
// it; false where the weather does not. The days before it within the weather
// count, and those after it.
func ColdSpellOn(w Hourly, date unit.Date, zone *time.Location) bool {
	var days [][]float64
	at := -1
	last := unit.Date{}
	for i, c := range w.AirC {
		d := unit.DateOf(w.Start.Add(time.Duration(i)*time.Hour), zone)
		if d != last || len(days) == 0 {
			days = append(days, nil)
			last = d
			if d == date {
				at = len(days) - 1
			}
		}
		days[len(days)-1] = append(days[len(days)-1], c)
	}
	return at >= 0 && ColdSpell(days)[at]
}

func dayMean(hours []float64) (mean float64, known bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, h := range hours {
		if !math.IsNaN(h) {
			lo, hi = math.Min(lo, h), math.Max(hi, h)
		}
	}
	return (lo + hi) / 2, lo <= hi
}

func hoursAbove(hours []float64, limit float64) int {
	n := 0
	for _, h := range hours {
		if h > limit {
			n++
		}
	}
	return n
}

// row returns which column of the ACI 306R table a least dimension falls in.
func row(thickness unit.Metres) int {
	const crumb = 1e-9 // so that 12 in counts as 12 in
	switch in := thickness.Inches(); {
	case in < 12-crumb:
		return 0
	case in < 36-crumb:
		return 1
	case in <= 72+crumb:
		return 2
	}
	return 3
}

// ColdPlacedC returns the least concrete temperature as placed and kept in
// cold weather, by the slab's least dimension (ACI 306R, from memory).
func ColdPlacedC(thickness unit.Metres) unit.Celsius {
	return [4]unit.Celsius{13, 10, 7, 5}[row(thickness)]
}

// ColdMixedC returns the least temperature as mixed, by least dimension and
// air temperature (ACI 306R, from memory).
func ColdMixedC(thickness unit.Metres, airC unit.Celsius) unit.Celsius {
	r := row(thickness)
	switch {
	case airC > -1:
		return [4]unit.Celsius{16, 13, 10, 7}[r]
	case airC >= -18:
		return [4]unit.Celsius{18, 16, 13, 10}[r]
	}
	return [4]unit.Celsius{21, 18, 16, 13}[r]
}

// ColdAboveK is how far a mix may lie above the least temperature (ACI 306R,
// from memory: 20 F).
const ColdAboveK unit.TempDiff = 11

// DropLimit returns the most by which the concrete may cool, gradually, in the
// 24 h after protection ends (ACI 306R, from memory: 50, 40, 30, 20 F). It is
// a difference: 50 F is 28 K.
func DropLimit(thickness unit.Metres) unit.TempDiff {
	return [4]unit.TempDiff{28, 22, 17, 11}[row(thickness)]
}

// Service is what a slab meets while it is young.
type Service string

// The services of ACI 306R-88, table 5.3.
const (
	Sheltered    Service = "sheltered"     // no load, not exposed to freezing
	Exposed      Service = "exposed"       // no load, exposed
	PartlyLoaded Service = "partly-loaded" // partial load, exposed
	FullyLoaded  Service = "fully-loaded"  // full load: by strength, not by days
)

// ProtectionDays returns how many days a slab is protected from cold; shorter
// when accelerated (Type III cement, 60 kg/m3 more cement, or an accelerator).
// ok is false where strength decides instead (ACI 306R-88 table 5.3, from memory).
func ProtectionDays(s Service, accelerated bool) (days int, ok bool) {
	normal := map[Service][2]int{Sheltered: {2, 1}, Exposed: {3, 2}, PartlyLoaded: {6, 4}}
	d, ok := normal[s]
	if accelerated {
		return d[1], ok
	}
	return d[0], ok
}

// ColdInput is what the cold-weather rules look at. Unknown values leave
// their rules out; whoever asks says that they are unknown.
type ColdInput struct {
	Thickness    unit.Metres
	MixC         unit.Opt // as mixed
	AirC         unit.Opt // at placing
	AirMinC      unit.Opt // least within the time of protection
	Spell        bool     // ColdSpell of the day
	SlabMinC     unit.Opt // coldest node before frost-safe
	CornerC      unit.Opt // coldest corner before then
	UncoverDropK unit.Opt // slab less air when the cover comes off
	GroundFrozen bool
	Accelerated  bool
	Bag          *BagWater // with it, the water that would do is computed
}

// BagWater is a bag with its water, for computing what water would do.
type BagWater struct {
	BagC   unit.Celsius
	BagKg  unit.Kilograms
	WaterL float64
}

// ColdRules returns the cold-weather rules that a pour touches, most pressing
// first.
func ColdRules(in ColdInput) []Rule {
	var rules []Rule
	add := func(r Rule) { rules = append(rules, r) }
	if in.GroundFrozen {
		add(FrozenBaseRule())
	}
	if s := in.SlabMinC; s.Known && (s.V < 5 || in.CornerC.Known && in.CornerC.V < 0) {
		add(coldNight(s.V, in.CornerC))
	}
	expected := in.AirMinC.Known && ColdExpected(unit.Celsius(in.AirMinC.V))
	if expected || in.Spell {
		rules = append(rules, coldMix(in)...)
	}
	if k, limit := in.UncoverDropK, DropLimit(in.Thickness); k.Known && unit.TempDiff(k.V) > limit {
		add(Rule{ID: "uncover-drop", Severity: Act, SourceData: message.New(SourceColdTable),
			Figure: figure("uncover_drop_k", k.V, float64(limit)),
			Data: says(message.New(RuleUncoverDrop, message.Difference("drop", unit.TempDiff(k.V)),
				message.Difference("limit", limit)))})
	}
	days, _ := ProtectionDays(Exposed, in.Accelerated)
	figures := []message.Figure{message.Temperature("limit", ColdAirC), message.Count("days", days)}
	if expected {
		add(Rule{ID: "cold-expected", Severity: Watch, SourceData: message.New(sourceColdExpected),
			Figure: figure("air_min_c", in.AirMinC.V, ColdAirC),
			Data:   says(message.New(RuleColdExpected, figures...))})
	}
	if in.Spell {
		add(Rule{ID: "cold-spell", Severity: Watch, SourceData: message.New(sourceColdSpell),
			Data: says(message.New(RuleColdSpell, figures...))})
	}
	return rules
}

// coldNight speaks of the slab's coldest node, and of its corners. Near 5 C
// hydration all but stops (common practice); within 2 C of freezing a forecast's
// error decides (judgement).
func coldNight(minC float64, corner unit.Opt) Rule {
	r := Rule{ID: "cold-overnight", Severity: Watch, SourceData: message.New(sourceColdOvernight),
		Figure: figure("slab_min_c", minC, 5)}
	low := message.Temperature("low", unit.Celsius(minC))
	switch {
	case minC < 0:
		r.Severity, r.Data = Act, says(message.New(RuleFreezes))
	case corner.Known && corner.V < 0:
		r.Severity, r.Data = Act, says(message.New(RuleCornerFreezes, low, message.Temperature("corner",
			unit.Celsius(corner.V))))
	case minC < 2:
		r.Severity, r.Data = Act, says(message.New(RuleNearFrost, low))
	default:
		r.Data = says(message.New(RuleColdSlab, low))
	}
	return r
}

// coldMix holds the mix against the table's temperatures.
func coldMix(in ColdInput) []Rule {
	if !in.MixC.Known {
		return nil
	}
	mix, limit, code := unit.Celsius(in.MixC.V), ColdPlacedC(in.Thickness), RuleColdPlaced
	if in.AirC.Known {
		limit, code = ColdMixedC(in.Thickness, unit.Celsius(in.AirC.V)), RuleColdMixed
	}
	most := limit.Plus(ColdAboveK)
	switch {
	case mix < limit:
		r := Rule{ID: "cold-mix", Severity: Act, SourceData: message.New(SourceColdTable),
			Figure: figure("mix_c", in.MixC.V, float64(limit)),
			Data:   says(message.New(code, message.Temperature("mix", mix), message.Temperature("limit", limit)))}
		if mix >= ColdPlacedC(in.Thickness) {
			r.Severity = Watch // warm enough if it is placed at once
		}
		how, water := waterToReach(in.Bag, limit)
		r.Data, r.WaterC = append(r.Data, how...), water
		return []Rule{r}
	case mix > most:
		return []Rule{{ID: "cold-mix-too-warm", Severity: Note, SourceData: message.New(SourceColdTable),
			Figure: figure("mix_c", in.MixC.V, float64(most)),
			Data: says(message.New(RuleMixTooWarm, message.Temperature("mix", mix), message.Temperature("limit",
				most)))}}
	}
	return nil
}

// waterToReach says what water would bring a mix to a temperature.
func waterToReach(b *BagWater, wanted unit.Celsius) ([]message.Message, unit.Opt) {
	if b == nil {
		return says(message.New(RuleWarmerWater)), unit.Opt{}
	}
	e, err := WaterFor(wanted, b.BagC, b.BagKg, b.WaterL, 0)
	if err != nil || !e.Allowed {
		return says(message.New(RuleWaterTooLittle)), unit.Opt{}
	}
	how := says(message.New(RuleWaterReaches, message.Temperature("water", e.WaterC)))
	if e.WaterC > waterScaldsC {
		how = append(how, message.New(RuleWaterScalds, message.Temperature("limit", waterScaldsC)))
	}
	return how, unit.Some(float64(e.WaterC))
}
