package concrete

import (
	"fmt"
	"strings"

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

// MixEstimate is a mix temperature and the water that makes it.
type MixEstimate struct {
	MixC    unit.Celsius
	WaterC  unit.Celsius
	Allowed bool   // false: water or ice beyond what may be used
	Caution string // empty: none
}

var bagRanges = []numRange{
	{"bag_c", -40, 60, "temperature of the dry bag"},
	{"bag_kg", 1, 2000, "mass of dry mix"},
	{"water_l", 0.1, 500, "mixing water without the ice"},
	{"ice_kg", 0, 400, "ice in place of water"},
}

// BagMix returns the temperature of bagKg of dry mix at bagC with waterL
// litres of water at waterC and iceKg of ice beside it. Bag -40 to 60 C, water
// 0 to 100 C; all else is an Invalid fault that names the range. Allowed is
// false, with the reason in Caution, for water or ice that may not be used so.
func BagMix(bagC, waterC unit.Celsius, bagKg unit.Kilograms, waterL float64, iceKg unit.Kilograms) (MixEstimate,
	error) {
	ranges := append([]numRange{{"water_c", 0, 100, "liquid water"}}, bagRanges...)
	if err := within("the mix temperature can't be computed", ranges, float64(waterC), float64(bagC), float64(bagKg),
		waterL, float64(iceKg)); err != nil {
		return MixEstimate{}, err
	}
	b := bagBatch(bagC, waterC, bagKg, waterL, iceKg)
	return judge(b, b.Temperature()), nil
}

// WaterFor returns the water temperature at which the same batch comes out at
// wantedC. Allowed is false, with the reason in Caution, where that water would
// be hotter than may be used or below freezing; wantedC is 0 to 50 C.
func WaterFor(wantedC, bagC unit.Celsius, bagKg unit.Kilograms, waterL float64, iceKg unit.Kilograms) (MixEstimate,
	error) {
	ranges := append([]numRange{{"wanted_c", 0, 50, "temperature of fresh concrete"}}, bagRanges...)
	if err := within("the water temperature can't be computed", ranges, float64(wantedC), float64(bagC),
		float64(bagKg), waterL, float64(iceKg)); err != nil {
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
	var say []string
	no := func(s string) { e.Allowed = false; say = append(say, s) }
	yes := func(s string) { say = append(say, s) }

	switch w := float64(b.WaterC); {
	case w > WaterMostC:
		no(fmt.Sprintf("Water above %d C may not be used (ACI 306R chapter 3, from memory): warm the bags instead.",
			WaterMostC))
	case w > WaterFlashC:
		no(fmt.Sprintf("Water above %d C straight on cement may set it in a flash, and a bag holds its cement (ACI 306R chapter 3, from memory): warm the bags, or settle for a cooler mix.", WaterFlashC))
	case w < 0:
		no("Water can't be colder than 0 C: cool the bags, or put ice in place of some of the water.")
	}
	if b.WaterC > waterScaldsC {
		yes(fmt.Sprintf("Water above %d C scalds (common practice): pour the water in first, then the bag; gloves and eyes covered.", waterScaldsC))
	}
	if b.IceKg > 0 {
		switch share := float64(b.IceKg) / float64(b.WaterKg+b.IceKg); {
		case share > IceMostShare:
			no("More than three quarters of the water as ice leaves too little to mix with (ACI 305R, from memory).")
		case share > IceWatchShare:
			yes("With more than a fifth of the water as ice the estimate gets rough: measure the mix.")
		}
		yes("Use crushed ice, and mix until all of it has melted (ACI 305R, from memory).")
	}
	if mixC > HeatedMixMostC && (b.WaterC > mixC || b.IceKg == 0) {
		yes(fmt.Sprintf("A mix above %d C sets fast and loses late strength; one made with heated materials may not be hotter (ASTM C94-15a, 12.11).", HeatedMixMostC))
	}
	if mixC < 0 {
		no("The mix would freeze: no concrete is placed below 0 C (ACI 306R, from memory).")
	}
	if len(b.Solids) > 0 && b.Solids[0].C < 0 {
		yes("Frozen moisture or lumps in a bag take heat that is not counted here: thaw the bags (common practice).")
	}
	e.Caution = strings.Join(say, " ")
	return e
}
