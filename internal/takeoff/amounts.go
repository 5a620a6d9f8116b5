package takeoff

import (
	"math"

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
	a := Amounts{Bags: bags, WaterL: tidy(float64(bags) * s.Mix.WaterLPerBag), WaterLMax: tidy(float64(bags) * s.Mix.WaterLPerBagMax),
		WeightKg: tidy(float64(bags) * s.Mix.BagKg)}
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

// WaterCement returns the water-cement ratio by mass of a bag with so many
// litres of water; unknown where the cement content is. A litre of water is
// taken as a kilogram.
func WaterCement(m pour.Mix, litres float64) unit.Opt {
	if m.CementFraction == nil {
		return unit.Opt{}
	}
	return unit.Some(litres / (*m.CementFraction * m.BagKg))
}

// CementKgM3 returns the cement in a cubic metre of concrete; unknown where
// the cement content is.
func CementKgM3(m pour.Mix) unit.Opt {
	if m.CementFraction == nil {
		return unit.Opt{}
	}
	return unit.Some(*m.CementFraction * m.BagKg / m.YieldLPerBag * 1000)
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

// short returns how many bags are lacking, and from which planned date on.
// Stock and deliveries are what the project has had in all, so bags used
// already count as need.
func short(stock pour.Stock, need, used int, days []Day) (int, *unit.Date) {
	if stock.BagsOnHand == nil {
		return 0, nil
	}
	have := *stock.BagsOnHand
	for _, d := range stock.Deliveries {
		have += d.Bags
	}
	var from *unit.Date
	for _, day := range days {
		used += day.Bags
		there := *stock.BagsOnHand
		for _, d := range stock.Deliveries {
			if !day.Date.Before(d.Date) {
				there += d.Bags
			}
		}
		if used > there {
			date := day.Date
			from = &date
			break
		}
	}
	return max(0, need-have), from
}
