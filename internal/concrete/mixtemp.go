package concrete

import (
	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// solidsHeat is the specific heat of dry solids over that of water (CSA/CAC
// chapter 17, as ACI 305R and 306R; some texts give 0.20 to 0.25).
const solidsHeat = 0.22

// iceHeat is the heat that melts ice over the heat that warms the same water
// by 1 K (ACI 305R appendix, from memory: 80; more exactly 79.6).
const iceHeat = 80

// Limits of mixing water and of the mix that it makes.
const (
	// WaterFlashC: hotter water straight on cement may set it in a flash (ACI 306R chapter 3, from memory).
	WaterFlashC = 60
	// WaterMostC: the most for water that meets sand and stone first (ACI 306R chapter 3, from memory).
	WaterMostC = 82
	// HeatedMixMostC: concrete of heated materials may not be hotter (ASTM C94-15a, 12.11).
	HeatedMixMostC = 32
	// waterScaldsC: hot water that burns skin within seconds (common practice).
	waterScaldsC = 50
	// IceWatchShare: the balance comes out too warm or too cold beyond this share
	// of the water as ice (a published comparison gives 0.2 to 0.5).
	IceWatchShare = 0.20
	// IceMostShare of the water, so that enough water is left to mix with (ACI 305R, from memory).
	IceMostShare = 0.75
)

// Portion is a dry ingredient.
type Portion struct {
	Kg unit.Kilograms
	C  unit.Celsius
}

// Batch is what goes into one mix. WaterKg leaves the ice out.
type Batch struct {
	Solids  []Portion
	WaterKg unit.Kilograms
	WaterC  unit.Celsius
	IceKg   unit.Kilograms // at 0 C
}

// Temperature returns the temperature of the batch when all has come together
// and the ice has melted, by the heat balance of CSA/CAC chapter 17 (the same
// form as ACI 305R and 306R); NaN for an empty batch. Heat from the drum, the
// air and frozen moisture in the bags is left out.
func (b Batch) Temperature() unit.Celsius {
	heat := float64(b.WaterKg)*float64(b.WaterC) - iceHeat*float64(b.IceKg)
	capacity := float64(b.WaterKg + b.IceKg)
	for _, p := range b.Solids {
		heat += solidsHeat * float64(p.Kg) * float64(p.C)
		capacity += solidsHeat * float64(p.Kg)
	}
	return unit.Celsius(heat / capacity)
}

// Codes of a mix's temperature: what can't be worked out, and what to mind.
const (
	MixUnknown     message.Code = "mix_unknown"
	MixWaterTooHot message.Code = "mix_water_too_hot" // limit_c
	MixWaterFlash  message.Code = "mix_water_flash"   // limit_c
	MixWaterFrozen message.Code = "mix_water_frozen"  // limit_c
	MixWaterScalds message.Code = "mix_water_scalds"  // limit_c
	MixIceTooMuch  message.Code = "mix_ice_too_much"  // limit_chance: share of the water
	MixIceRough    message.Code = "mix_ice_rough"     // limit_chance: share of the water
	MixIceCrushed  message.Code = "mix_ice_crushed"
	MixHot         message.Code = "mix_hot"     // limit_c
	MixFreezes     message.Code = "mix_freezes" // limit_c
	MixBagsFrozen  message.Code = "mix_bags_frozen"
)

// MixEstimate is a mix temperature and the water that makes it.
type MixEstimate struct {
	MixC     unit.Celsius
	WaterC   unit.Celsius
	Allowed  bool              // false: water or ice beyond what may be used
	Cautions []message.Message // the reason where it is not allowed, and what to mind
}

var bagRanges = []numRange{
	{"bag_c", -40, 60},    // temperature of the dry bag
	{"bag_kg", 1, 2000},   // mass of dry mix
	{"water_l", 0.1, 500}, // mixing water without the ice
	{"ice_kg", 0, 400},    // ice in place of water
}

// BagMix returns the temperature of bagKg of dry mix at bagC with waterL
// litres of water at waterC and iceKg of ice beside it. Bag -40 to 60 C, water
// 0 to 100 C; all else is an Invalid fault that names the range. Allowed is
// false, with the reason in Cautions, for water or ice that may not be used so.
func BagMix(bagC, waterC unit.Celsius, bagKg unit.Kilograms, waterL float64,
	iceKg unit.Kilograms) (MixEstimate, error) {
	ranges := append([]numRange{{"water_c", 0, 100}}, bagRanges...)
	if err := within(MixUnknown, ranges, float64(waterC), float64(bagC), float64(bagKg), waterL,
		float64(iceKg)); err != nil {
		return MixEstimate{}, err
	}
	b := bagBatch(bagC, waterC, bagKg, waterL, iceKg)
	return judge(b, b.Temperature()), nil
}

// WaterFor returns the water temperature at which the same batch comes out at
// wantedC. Allowed is false, with the reason in Cautions, where that water would
// be hotter than may be used or below freezing; wantedC is 0 to 50 C.
func WaterFor(wantedC, bagC unit.Celsius, bagKg unit.Kilograms, waterL float64,
	iceKg unit.Kilograms) (MixEstimate, error) {
	ranges := append([]numRange{{"wanted_c", 0, 50}}, bagRanges...)
	if err := within(MixUnknown, ranges, float64(wantedC), float64(bagC), float64(bagKg), waterL,
		float64(iceKg)); err != nil {
		return MixEstimate{}, err
	}
	// The balance solved for the water.
	dry := solidsHeat * float64(bagKg)
	waterC := (float64(wantedC)*(dry+waterL+float64(iceKg)) - dry*float64(bagC) + iceHeat*float64(iceKg)) / waterL
	return judge(bagBatch(bagC, unit.Celsius(waterC), bagKg, waterL, iceKg), wantedC), nil
}

func bagBatch(bagC, waterC unit.Celsius, bagKg unit.Kilograms, waterL float64, iceKg unit.Kilograms) Batch {
	// A litre of water is taken as a kilogram (common practice; 0.983 at 60 C).
	return Batch{Solids: []Portion{{bagKg, bagC}}, WaterKg: unit.Kilograms(waterL), WaterC: waterC, IceKg: iceKg}
}

// judge says whether a batch may be mixed so, and what to mind.
func judge(b Batch, mixC unit.Celsius) MixEstimate {
	e := MixEstimate{MixC: mixC, WaterC: b.WaterC, Allowed: true}
	yes := func(code message.Code, figures ...message.Figure) {
		e.Cautions = append(e.Cautions, message.New(code, figures...))
	}
	no := func(code message.Code, figures ...message.Figure) { e.Allowed = false; yes(code, figures...) }

	switch w := float64(b.WaterC); {
	case w > WaterMostC:
		no(MixWaterTooHot, message.Temperature("limit", WaterMostC)) // ACI 306R chapter 3, from memory
	case w > WaterFlashC:
		no(MixWaterFlash, message.Temperature("limit", WaterFlashC)) // ACI 306R chapter 3, from memory
	case w < 0:
		no(MixWaterFrozen, message.Temperature("limit", 0))
	}
	if b.WaterC > waterScaldsC {
		yes(MixWaterScalds, message.Temperature("limit", waterScaldsC)) // common practice
	}
	if b.IceKg > 0 {
		switch share := float64(b.IceKg) / float64(b.WaterKg+b.IceKg); {
		case share > IceMostShare:
			no(MixIceTooMuch, message.Chance("limit", IceMostShare)) // ACI 305R, from memory
		case share > IceWatchShare:
			yes(MixIceRough, message.Chance("limit", IceWatchShare))
		}
		yes(MixIceCrushed) // ACI 305R, from memory
	}
	if mixC > HeatedMixMostC && (b.WaterC > mixC || b.IceKg == 0) {
		yes(MixHot, message.Temperature("limit", HeatedMixMostC)) // ASTM C94-15a, 12.11
	}
	if mixC < 0 {
		no(MixFreezes, message.Temperature("limit", 0)) // ACI 306R, from memory
	}
	if len(b.Solids) > 0 && b.Solids[0].C < 0 {
		yes(MixBagsFrozen) // common practice
	}
	return e
}
