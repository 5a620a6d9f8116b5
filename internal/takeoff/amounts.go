package takeoff

import (
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

func names(pads []pour.Pad) []string {
	out := make([]string, len(pads))
	for i, p := range pads {
		out[i] = p.Name
	}
	return out
}

func amounts(s pour.Spec, pads []pour.Pad) Amounts { return of(s, pads, PourBags(s, pads)) }

// of returns the amounts for pads that take a number of bags.
func of(s pour.Spec, pads []pour.Pad, bags int) Amounts {
	a := Amounts{Bags: bags, WaterL: tidy(float64(bags) * s.Mix.WaterLPerBag),
		WaterLMax: tidy(float64(bags) * s.Mix.WaterLPerBagMax),
		WeightKg:  tidy(float64(bags) * s.Mix.BagKg)}
	area := 0.0
	for _, p := range pads {
		a.VolumeL += PadVolumeL(s, p)
		area += p.AreaM2()
	}
	if price := s.Mix.PricePerBag; price != nil {
		cost := tidy(float64(bags) * *price)
		a.Cost = &cost
	}
	if depth := s.Site.BaseSandM; depth != nil {
		litres := area * *depth * 1000 * sandLoose * (1 + s.WasteFraction)
		kg := litres * sandKgPerL
		a.SandL, a.SandKg = &litres, &kg
	}
	return a
}

// tidy takes off what binary arithmetic leaves beyond the sixth decimal, so
// that 11 bags at 2.8 litres read 30.8.
func tidy(v float64) float64 { return math.Round(v*1e6) / 1e6 }

// Sand as bought (common practice): loose it takes a fifth more room than
// compacted, and a litre of it weighs 1.6 kg.
const (
	sandLoose  = 1.2
	sandKgPerL = 1.6
)

func carrying(s pour.Spec, bags int) Carrying {
	c := Carrying{
		MovedKg:          tidy(float64(bags) * s.Mix.BagKg * s.Crew.MovesPerBag),
		MovedTPersonHour: s.Crew.BagsPerHour * s.Mix.BagKg * s.Crew.MovesPerBag / 1000,
	}
	if perTrip := int(s.Crew.VehiclePayloadKg/s.Mix.BagKg + 1e-9); perTrip > 0 {
		trips := (bags + perTrip - 1) / perTrip
		c.Trips = &trips
	}
	return c
}

// labelSlumpMM is the slump that a bag has with the label's least water (common
// practice: 2 to 3 in).
const labelSlumpMM = 65

// WaterL returns the litres that a bag is mixed with: what the builder uses, what
// the slump asked for takes, or the label's.
func WaterL(m pour.Mix) float64 {
	switch {
	case m.WaterUsedLPerBag != nil:
		return *m.WaterUsedLPerBag
	case m.SlumpMM != nil:
		return max(m.WaterLPerBag/2, m.WaterLPerBag+concrete.SlumpWater(labelSlumpMM, *m.SlumpMM, m.YieldLPerBag))
	}
	return m.WaterLPerBag
}

// WaterCement returns the water-cement ratio by mass of a bag with so many
// litres of water; unknown where the cement content is. A litre of water is
// taken as a kilogram.
func WaterCement(m pour.Mix, litres float64) unit.Opt {
	if m.CementFraction == nil {
		return unit.Opt{}
	}
	return unit.Some(litres / (*m.CementFraction * m.BagKg))
}

func ratios(s pour.Spec, p *Project) {
	if r := WaterCement(s.Mix, s.Mix.WaterLPerBag); r.Known {
		p.WaterCementRatio = &r.V
	}
	if r := WaterCement(s.Mix, s.Mix.WaterLPerBagMax); r.Known {
		p.WaterCementRatioMax = &r.V
	}
	if extra := s.Mix.WaterLPerBagMax - s.Mix.WaterLPerBag; extra > 0 {
		low, high := concrete.ExtraWaterLoss(extra, s.Mix.YieldLPerBag)
		p.StrengthLossMPa = &Range{low, high}
	}
}

// Used returns the bags that a pad has taken, each time that it was placed and
// lost ones too, since an instant; nil: ever. A casting takes the bags logged
// with it, else those of the pad by itself; one whose time is not given counts.
func Used(s pour.Spec, p pour.Pad, r pour.PadRecord, since *time.Time) int {
	each := PadBags(s, p)
	used := 0
	for _, c := range r.Castings {
		switch {
		case since != nil && c.At.Before(*since):
		case c.Bags != nil && *c.Bags > 0:
			used += int(math.Ceil(*c.Bags - 1e-9))
		default:
			used += each
		}
	}
	times := r.Losses
	switch r.State {
	case pour.Placed, pour.Finished, pour.Stripped, pour.Cured:
		times++
	}
	return used + max(0, times-len(r.Castings))*each
}

// short returns how many bags are lacking for what is still to place, and from
// which planned date on. Pads placed since the bags were counted have taken
// theirs.
func short(j Job, byName map[string]pour.Pad, need int, days []Day) (int, *unit.Date) {
	zone := j.Zone
	if zone == nil {
		zone = time.UTC
	}
	k := j.Spec.Stock
	if k.BagsOnHand == nil {
		return 0, nil
	}
	used := 0
	for _, r := range j.Records {
		if p, ok := byName[r.Pad]; ok {
			used += Used(j.Spec, p, r, k.CountedAt)
		}
	}
	last := unit.Date{Year: 9999, Month: time.December, Day: 31}
	have, _ := k.BagsBy(last, zone)
	have = max(0, have-used)
	var from *unit.Date
	planned := 0
	for _, day := range days {
		planned += day.Bags
		if there, _ := k.BagsBy(day.Date, zone); planned > max(0, there-used) {
			date := day.Date
			from = &date
			break
		}
	}
	return max(0, need-have), from
}
