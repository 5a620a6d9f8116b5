package form

import (
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Example returns a job that can be planned as soon as its place is known: six
// pads of one size in two forms. It is there to be changed.
func Example(r say.Reader, name string) url.Values {
	s := pour.DefaultSpec()
	length, width, thick, gap := 1.2, 0.9, 0.075, 0.3 // a gap with room for boards and stakes
	if r.US {
		length, width, thick, gap = 4*unit.MetresPerFoot, 3*unit.MetresPerFoot, 3*unit.MetresPerInch, unit.MetresPerFoot
		s.Mix.BagKg, s.Crew.VehiclePayloadKg = 80*unit.KilogramsPerPound, 1000*unit.KilogramsPerPound
	} else {
		s.Mix = s.Mix.OfBag(25)
		s.Mix.PricePerBag = nil
	}
	set := "F1"
	s.FormSets = []pour.FormSet{{Name: set, Count: 2, Cells: 1}}
	for k := range 6 {
		s.Pads = append(s.Pads, pour.Pad{Name: At("A", k+1), LengthM: length, WidthM: width, ThicknessM: thick,
			XM: float64(k%3) * (length + gap), YM: float64(k/3) * (width + gap), FormSet: &set})
	}
	s.Name, s.Language = name, &r.Language
	v := Of(s, r)
	v.Set("place", "")
	return v
}

// Of writes a spec as the form's values, for a reader's units and clock.
func Of(s pour.Spec, r say.Reader) url.Values {
	w := writer{url.Values{}, r}
	w.Set("units", map[bool]string{true: "us", false: "metric"}[r.US])
	w.Set("name", s.Name)
	w.Set("place", Degrees(s.Latitude, s.Longitude))
	w.Set("language", r.Language)
	if s.Language != nil {
		w.Set("language", *s.Language)
	}
	rows := rowsOf(s.Pads)
	w.rows(rows)
	w.forms(s, rows)
	w.mix(s)
	w.crew(s.Crew)
	w.stock(s.Stock)
	w.Set("risk", w.digits(s.Limits.RainRisk*100, 2)+" %")
	w.Set("evening", w.r.ClockOf(s.Alerts.EveningAt))
	w.Set("quiet", w.r.ClockOf(s.Alerts.QuietUntil))
	w.Set("lead", strconv.Itoa(s.Alerts.LeadMin))
	w.Set("subgrade", s.Site.Subgrade)
	w.Set("shade", "")
	if t := s.Site.MorningShadeUntil; t != nil {
		w.Set("shade", w.r.ClockOf(*t))
	}
	w.shades(s.Site)
	w.practice(s.Practice)
	w.Set("base_cover", s.BaseCover())
	w.Set("hollows", w.small(s.Site.UnevenBaseM))
	w.Set("base_sand", w.optional(s.Site.BaseSandM, w.small))
	return w.Values
}

type writer struct {
	url.Values
	r say.Reader
}

// digits writes a number with at most so many digits after the point.
func (w writer) digits(v float64, most int) string {
	scale := math.Pow10(most)
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', -1, 64)
}

func (w writer) optional(v *float64, write func(float64) string) string {
	if v == nil {
		return ""
	}
	return write(*v)
}

// length writes a length as a tape is read: 46 in, 12' 6", 1.2 m.
func (w writer) length(m float64) string {
	if !w.r.US {
		return w.digits(m, 4) + " m"
	}
	in := unit.Metres(m).Inches()
	if whole := math.Floor((in + 1e-3) / 12); in >= 120 {
		return w.digits(whole, 0) + "' " + w.digits(math.Max(0, in-12*whole), 3) + `"`
	}
	return w.digits(in, 3) + " in"
}

// small writes a thickness or a gap.
func (w writer) small(m float64) string {
	if w.r.US {
		return w.digits(unit.Metres(m).Inches(), 3) + " in"
	}
	return w.digits(m*1000, 2) + " mm"
}

func (w writer) mass(kg float64) string {
	if w.r.US {
		return w.digits(unit.Kilograms(kg).Pounds(), 1) + " lb"
	}
	return w.digits(kg, 2) + " kg"
}

func (w writer) water(litres float64) string {
	if w.r.US {
		return w.digits(litres/unit.LitresPerQuart, 2) + " qt"
	}
	return w.digits(litres, 2) + " L"
}

func (w writer) temperature(c float64) string {
	if w.r.US {
		return w.digits(unit.Celsius(c).Fahrenheit(), 1) + " F"
	}
	return w.digits(c, 1) + " C"
}

func (w writer) mix(s pour.Spec) {
	m := s.Mix
	w.Set("bag", w.mass(m.BagKg))
	w.Set("price", w.optional(m.PricePerBag, func(v float64) string { return w.digits(v, 4) }))
	w.Set("water", "")
	w.Set("water_max", "")
	w.Set("yield", "")
	if !usual(m) {
		w.Set("water", w.water(m.WaterLPerBag))
		w.Set("water_max", w.water(m.WaterLPerBagMax))
		w.Set("yield", w.digits(m.YieldLPerBag, 2)+" L")
		if w.r.US {
			w.Set("yield", w.digits(m.YieldLPerBag/unit.LitresPerCubicFoot, 3)+" ft3")
		}
	}
	w.Set("waste", w.digits(s.WasteFraction*100, 1)+" %")
	w.Set("cement", m.Cement)
	w.Set("strength", w.digits(m.Strength28dMPa, 1))
	if w.r.US {
		w.Set("strength", w.digits(m.Strength28dMPa*unit.PSIPerMPa/10, 0)+"0")
	}
	w.Set("water_temp", w.optional(m.WaterTemperatureC, w.temperature))
	w.Set("bag_temp", w.optional(m.BagTemperatureC, w.temperature))
	w.added(m)
}

// usual reports whether yield and water are those of the bag's weight.
func usual(m pour.Mix) bool {
	u := m.OfBag(m.BagKg)
	return near(u.YieldLPerBag, m.YieldLPerBag) && near(u.WaterLPerBag, m.WaterLPerBag) &&
		near(u.WaterLPerBagMax, m.WaterLPerBagMax)
}

// near reports whether two figures are the same but for how they are written: a
// figure that is read back from the form is not to change what is kept.
func near(a, b float64) bool { return math.Abs(a-b) <= 2e-3*math.Max(math.Abs(a), math.Abs(b)) }

func (w writer) crew(c pour.Crew) {
	w.Set("people", strconv.Itoa(c.People))
	w.Set("rate", w.digits(c.BagsPerHour, 2))
	w.Set("earliest", w.r.ClockOf(c.EarliestStart))
	w.Set("latest", w.r.ClockOf(c.LatestFinish))
	w.Values["day"] = slices.Clone(c.Days)
	w.Set("finish", c.Finish)
	w.Set("payload", w.mass(c.VehiclePayloadKg))
	w.Set("set_up", w.digits(c.SetUpMin, 1))
	w.Set("clean_up", w.digits(c.CleanUpMin, 1))
	w.Set("moves", w.digits(c.MovesPerBag, 2))
}

// CoverKinds are the covers that the form counts.
var CoverKinds = []string{pour.Plastic, pour.Burlap, pour.Blanket}

func (w writer) stock(k pour.Stock) {
	for _, kind := range CoverKinds {
		w.Set(kind, strconv.Itoa(covered(k.Covers, kind)))
	}
	w.Set("on_hand", "")
	if k.BagsOnHand != nil {
		w.Set("on_hand", strconv.Itoa(*k.BagsOnHand))
	}
	for i, d := range k.Deliveries {
		w.Set(At("date", i), d.Date.String())
		w.Set(At("bags", i), strconv.Itoa(d.Bags))
	}
}

// covered is how many pads the covers of a kind lie over.
func covered(covers []pour.Cover, kind string) int {
	n := 0
	for _, c := range covers {
		if c.Kind == kind {
			n += c.Pads
		}
	}
	return n
}

func (w writer) rows(rows []row) {
	for i, r := range rows {
		set := func(field, value string) { w.Set(At(field, i), value) }
		first := r.pads[0]
		set("letter", r.letter)
		set("from", strconv.Itoa(r.from))
		set("was", strings.Join(names(r.pads), apart))
		set("across", strconv.Itoa(r.across))
		set("rows", strconv.Itoa(len(r.pads)/r.across))
		set("gap", "")
		if r.regular {
			set("gap", w.small(r.gap))
		}
		set("length", w.length(first.LengthM))
		set("width", w.length(first.WidthM))
		set("thick", w.small(first.ThicknessM))
		set("edge", w.optional(first.EdgeThicknessM, w.small))
		set("x", w.length(first.XM))
		set("y", w.length(first.YM))
		set("order", r.order())
	}
}

func (w writer) forms(s pour.Spec, rows []row) {
	for i, f := range s.FormSets {
		w.Set(At("set", i), f.Name)
		w.Set(At("set_was", i), f.Name)
		w.Set(At("count", i), strconv.Itoa(f.Count))
		w.Set(At("cells", i), strconv.Itoa(f.Cells))
		var of []string
		for _, r := range rows {
			if set, one := r.formSet(); one && set != nil && *set == f.Name {
				of = append(of, r.letter)
			}
		}
		w.Set(At("for", i), strings.Join(of, ", "))
	}
}
