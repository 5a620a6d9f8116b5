package form

import (
	"errors"
	"math"
	"net/url"
	"strconv"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Codes of the rules that only the form has.
const (
	RowUnknown  message.Code = "row_unknown"   // given: no row of pads is called so
	RowTwice    message.Code = "row_twice"     // given: another form is for it too
	PadsTooMany message.Code = "pads_too_many" // max
	DateTyped   message.Code = "date_typed"    // not a date
)

// Got is what was read.
type Got struct {
	Spec  pour.Spec
	Wrong fault.List                // what can't be read, by field
	Typed map[string]message.Figure // quantities as they were read, by field

	rowOf     []int    // the row of each pad
	covers    []string // the field of each cover
	delivered []int    // the line of each delivery
}

// reader reads fields, and gathers what is wrong.
type reader struct {
	url.Values
	r   say.Reader
	got *Got
}

// Read reads the form's values over a spec: what the values do not hold stays
// as it is there, and so does a figure that is written the same. The place is
// read where it is typed as coordinates.
func Read(v url.Values, base pour.Spec, r say.Reader) Got {
	got := Got{Spec: base, Typed: map[string]message.Figure{}}
	f := reader{v, r, &got}
	s := &got.Spec
	f.place(s)
	f.text("name", &s.Name)
	if f.Has("language") {
		lang := f.value("language")
		s.Language = &lang
	}
	f.word("units", &s.Units)
	f.mix(s)
	f.crew(&s.Crew)
	f.stock(&s.Stock)
	f.percent("risk", &s.Limits.RainRisk)
	f.clock("evening", &s.Alerts.EveningAt)
	f.clock("quiet", &s.Alerts.QuietUntil)
	f.whole("lead", &s.Alerts.LeadMin)
	f.word("subgrade", &s.Site.Subgrade)
	f.shade(&s.Site)
	f.shades(&s.Site)
	f.practice(&s.Practice)
	f.baseCover(s)
	f.length("hollows", small, &s.Site.UnevenBaseM)
	f.optional("base_sand", &s.Site.BaseSandM, func(name string, v *float64) { f.length(name, small, v) })
	if Rows.Count(v) > 0 {
		f.rows(base)
	}
	return got
}

func (f reader) value(name string) string { return strings.TrimSpace(f.Get(name)) }

func (f reader) wrong(name string, rule fault.Rule) { f.got.Wrong.Break(name, f.value(name), rule) }

// refused notes why a quantity can't be taken.
func (f reader) refused(name string, err error) {
	var r *unit.Refusal
	if errors.As(err, &r) {
		f.wrong(name, fault.Refused(r))
	}
}

func (f reader) place(s *pour.Spec) {
	typed := f.value("place")
	if !f.Has("place") || typed == Degrees(s.Latitude, s.Longitude) {
		return
	}
	if lat, lon, ok := Coordinates(typed); ok {
		s.Move(lat, lon, nil)
	}
}

func (f reader) text(name string, to *string) {
	if f.Has(name) {
		*to = f.value(name)
	}
}

func (f reader) word(name string, to *string) {
	if v := f.value(name); v != "" {
		*to = v
	}
}

// set keeps what there is where the new figure is written like it.
func set(to *float64, v float64) {
	if !near(*to, v) {
		*to = math.Round(v*1e6) / 1e6
	}
}

// number reads a number that may have a currency's sign or a per cent sign.
func (f reader) number(name string, to *float64) {
	if !f.Has(name) {
		return
	}
	t := strings.TrimSpace(strings.Trim(f.value(name), "$€£%"))
	if f.r.US {
		t = thousands(t)
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(t, ",", "."), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		f.wrong(name, fault.RuleOf(fault.NumberWanted))
		return
	}
	set(to, v)
}

// thousands takes out the commas of 1,200, which is a number in the United States.
func thousands(t string) string {
	before, after, ok := strings.Cut(t, ",")
	if n := len(strings.TrimLeft(after, "0123456789")); ok && before != "" && len(after)-n == 3 {
		return before + thousands(after)
	}
	return t
}

func (f reader) percent(name string, to *float64) {
	v := *to * 100
	if f.number(name, &v); !near(v, *to*100) {
		*to = v / 100
	}
}

func (f reader) whole(name string, to *int) {
	if !f.Has(name) {
		return
	}
	n, err := strconv.Atoi(f.value(name))
	if err != nil {
		f.wrong(name, fault.RuleOf(fault.WholeWanted))
		return
	}
	*to = n
}

func (f reader) clock(name string, to *unit.Clock) {
	if !f.Has(name) {
		return
	}
	c, err := unit.ParseTime(f.value(name))
	f.refused(name, err)
	if err == nil {
		*to = c
	}
}

// optional reads a value that may be left out.
func (f reader) optional(name string, to **float64, read func(string, *float64)) {
	if !f.Has(name) {
		return
	}
	if f.value(name) == "" {
		*to = nil
		return
	}
	v := 0.0
	if *to != nil {
		v = **to
	}
	read(name, &v)
	*to = &v
}

// Bare units of lengths: of a pad's sides, and of thicknesses and gaps.
const (
	side  = false
	small = true
)

func (f reader) length(name string, bare bool, to *float64) {
	if !f.Has(name) {
		return
	}
	units := map[bool]string{side: "m", small: "mm"}
	if f.r.US {
		units = map[bool]string{side: "ft", small: "in"}
	}
	v, err := unit.ParseLength(f.value(name), units[bare])
	f.refused(name, err)
	if err == nil {
		f.got.Typed[name] = message.Length("typed", v)
		if math.Abs(*to-float64(v)) > 1e-4 {
			*to = math.Round(float64(v)*1e6) / 1e6
		}
	}
}

func (f reader) mass(name string, to *float64) {
	if !f.Has(name) {
		return
	}
	t := f.value(name)
	if f.r.US {
		t = thousands(t)
	}
	v, err := unit.ParseMass(t, f.r.US)
	f.refused(name, err)
	if err == nil {
		f.got.Typed[name] = message.Mass("typed", v)
		set(to, float64(v))
	}
}

func (f reader) volume(name, bare string, to *float64) {
	v, err := unit.ParseVolume(f.value(name), bare)
	f.refused(name, err)
	if err == nil {
		f.got.Typed[name] = message.Volume("typed", v)
		set(to, v)
	}
}

func (f reader) temperature(name string, to *float64) {
	c, err := unit.ParseTemperature(f.value(name), f.r.US)
	f.refused(name, err)
	if err == nil {
		f.got.Typed[name] = message.Temperature("typed", c)
		if math.Abs(*to-float64(c)) > 0.06 {
			*to = math.Round(float64(c)*100) / 100
		}
	}
}

// mix reads the bag. Yield and water that are left out are those usual for its
// weight.
func (f reader) mix(s *pour.Spec) {
	m := &s.Mix
	f.mass("bag", &m.BagKg)
	if f.Has("water") {
		of := m.OfBag(m.BagKg)
		if usual(*m) {
			of = *m // as it was, to the last digit
		}
		water, yield := "l", "l"
		if f.r.US {
			water, yield = "qt", "ft3"
		}
		for _, x := range []struct {
			name, bare string
			to         *float64
			usual      float64
		}{{"yield", yield, &m.YieldLPerBag, of.YieldLPerBag}, {"water", water, &m.WaterLPerBag, of.WaterLPerBag},
			{"water_max", water, &m.WaterLPerBagMax, of.WaterLPerBagMax}} {
			if f.value(x.name) == "" {
				*x.to = x.usual
				continue
			}
			f.volume(x.name, x.bare, x.to)
		}
		if f.value("water_max") == "" {
			m.WaterLPerBagMax = math.Max(m.WaterLPerBagMax, m.WaterLPerBag)
		}
	}
	f.optional("price", &m.PricePerBag, f.number)
	f.percent("waste", &s.WasteFraction)
	f.word("cement", &m.Cement)
	if f.Has("strength") {
		factor := 1.0
		if f.r.US {
			factor = 1 / unit.PSIPerMPa
		}
		v := m.Strength28dMPa / factor
		if f.number("strength", &v); !near(v*factor, m.Strength28dMPa) {
			m.Strength28dMPa = math.Round(v*factor*100) / 100
		}
	}
	f.optional("water_temp", &m.WaterTemperatureC, f.temperature)
	f.optional("bag_temp", &m.BagTemperatureC, f.temperature)
	f.added(m)
}

func (f reader) crew(c *pour.Crew) {
	f.whole("people", &c.People)
	f.number("rate", &c.BagsPerHour)
	f.clock("earliest", &c.EarliestStart)
	f.clock("latest", &c.LatestFinish)
	if f.Has("people") { // a day that is not ticked is not sent
		c.Days = append([]string{}, f.Values["day"]...)
	}
	f.word("finish", &c.Finish)
	f.mass("payload", &c.VehiclePayloadKg)
	f.number("set_up", &c.SetUpMin)
	f.number("clean_up", &c.CleanUpMin)
	f.number("moves", &c.MovesPerBag)
}

func (f reader) shade(site *pour.Site) {
	if !f.Has("shade") {
		return
	}
	if f.value("shade") == "" {
		site.MorningShadeUntil = nil
		return
	}
	c, err := unit.ParseTime(f.value("shade"))
	f.refused("shade", err)
	if err == nil {
		site.MorningShadeUntil = &c
	}
}

func (f reader) stock(k *pour.Stock) {
	was := k.Covers
	var covers []pour.Cover
	for _, kind := range CoverKinds {
		n := covered(was, kind)
		if f.value(kind) != "" {
			f.whole(kind, &n)
		} else if f.Has(kind) {
			n = 0
		}
		for _, c := range f.covers(was, kind, n) {
			covers = append(covers, c)
			f.got.covers = append(f.got.covers, kind)
		}
	}
	k.Covers = covers
	if f.Has("on_hand") {
		old := k.BagsOnHand
		k.BagsOnHand = nil
		if f.value("on_hand") != "" {
			n := 0
			f.whole("on_hand", &n)
			k.BagsOnHand = &n
		}
		if now := k.BagsOnHand; old == nil || now == nil || *old != *now {
			k.CountedAt = nil // counted now
		}
		f.deliveries(k)
	}
}

// covers are those of a kind over n pads: as they were, where their number is
// the same, so that a list of several is kept.
func (f reader) covers(was []pour.Cover, kind string, n int) []pour.Cover {
	one := pour.Cover{Kind: kind, Pads: n}
	var same []pour.Cover
	for _, c := range was {
		if c.Kind == kind {
			same = append(same, c)
			one.ResistanceM2KW = same[0].ResistanceM2KW
		}
	}
	switch {
	case n == covered(was, kind):
		return same
	case n == 0:
		return nil
	}
	return []pour.Cover{one}
}

func (f reader) deliveries(k *pour.Stock) {
	k.Deliveries = []pour.Delivery{}
	for i := range Deliveries.Count(f.Values) {
		date, bags := At("date", i), At("bags", i)
		if f.value(date) == "" && f.value(bags) == "" {
			continue
		}
		d := pour.Delivery{}
		var err error
		if d.Date, err = unit.ParseDate(f.value(date)); err != nil {
			f.wrong(date, fault.RuleOf(DateTyped))
		}
		if f.whole(bags, &d.Bags); err == nil {
			k.Deliveries = append(k.Deliveries, d)
			f.got.delivered = append(f.got.delivered, i)
		}
	}
}
