package pour

import (
	"fmt"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

func (c *checker) mix(m Mix) {
	bag := c.number("mix.bag_kg", m.BagKg, 5, 60)
	if c.number("mix.yield_l_per_bag", m.YieldLPerBag, 2, 40) && bag {
		// Fresh concrete, light or ordinary, holds 1.0 to 2.6 kg of dry mix a litre.
		if d := m.BagKg / m.YieldLPerBag; d < 1.0 || d > 2.6 {
			c.add("mix.yield_l_per_bag", num(m.YieldLPerBag), fault.RuleOf(MixDensity, message.Text("other", "bag_kg"),
				message.Density("min", 1.0), message.Density("max", 2.6), message.Density("given", d)))
		}
	}
	if c.number("mix.water_l_per_bag", m.WaterLPerBag, 0.2, 15) && bag && m.WaterLPerBag > 0.3*m.BagKg {
		c.add("mix.water_l_per_bag", num(m.WaterLPerBag), fault.RuleOf(WaterShare, message.WaterShare("max", 0.3)))
	}
	if c.number("mix.water_l_per_bag_max", m.WaterLPerBagMax, 0.2, 15) {
		if m.WaterLPerBagMax < m.WaterLPerBag {
			c.add("mix.water_l_per_bag_max", num(m.WaterLPerBagMax), fault.Below("water_l_per_bag"))
		} else if bag && m.WaterLPerBagMax > 0.3*m.BagKg {
			c.add("mix.water_l_per_bag_max", num(m.WaterLPerBagMax), fault.RuleOf(WaterShare,
				message.WaterShare("max", 0.3)))
		}
	}
	c.optional("mix.cement_fraction", m.CementFraction, 0.05, 0.6)
	c.word("mix.cement", m.Cement, cements)
	c.number("mix.strength_28d_mpa", m.Strength28dMPa, 5, 100)
	c.optional("mix.bag_temperature_c", m.BagTemperatureC, -20, 50)
	// Ice is not water; above 60 C it may set cement in a flash where it meets
	// it straight, as it does in a bag (ACI 306R chapter 3, from memory).
	c.optional("mix.water_temperature_c", m.WaterTemperatureC, 0, 60)
	c.optional("mix.price_per_bag", m.PricePerBag, 0, 10000)
	c.word("mix.admixture", m.Admixture, admixtures)
	// Rapid repair mortars set in 5 minutes; nothing sold in bags takes a day.
	c.optional("mix.label_initial_set_min", m.LabelInitialSetMin, 3, 1440)
	c.optional("mix.label_walk_on_h", m.LabelWalkOnH, 0.25, 96)
	if w := m.WaterUsedLPerBag; c.optional("mix.water_used_l_per_bag", w, 0.2, 15) && w != nil && bag &&
		*w > 0.3*m.BagKg {
		c.add("mix.water_used_l_per_bag", num(*w), fault.RuleOf(WaterShare, message.WaterShare("max", 0.3)))
	}
	c.optional("mix.slump_mm", m.SlumpMM, 0, 250) // 10 in and more is flowing concrete
}

func (c *checker) practice(x Practice) {
	c.word("practice.base_cover", x.BaseCover, baseCovers)
	c.word("practice.curing", x.Curing, curings)
	c.optional("practice.curing_days", x.CuringDays, 0, 60)
}

func (c *checker) shades(all []Shade) {
	if !c.most("site.shade", len(all), MaxShades) {
		return
	}
	for i, v := range all {
		path := fmt.Sprintf("site.shade[%d]", i)
		if c.clock(path+".from", v.From) && c.clock(path+".until", v.Until) && v.Until <= v.From {
			c.add(path+".until", v.Until.String(), fault.RuleOf(LaterThan, message.Text("other", "from"),
				message.Clock("other", v.From)))
		}
	}
}
