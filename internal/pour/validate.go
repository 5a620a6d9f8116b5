package pour

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // zones are the same on every machine
	"unicode"
	"unicode/utf8"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Words that a field may hold.
var (
	cements    = []string{"general", "rapid", "slow"}
	finishes   = []string{"broom", "trowel"}
	weekdays   = []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}
	coverKinds = []string{Plastic, Burlap, Blanket}
	subgrades  = []string{"sand", "gravel", "clay", "soil", "insulated"}
	unitNames  = []string{"us", "metric"}
	admixtures = []string{NoAdmixture, "retarder", "accelerator"}
	baseCovers = []string{NoCover, Plastic, Blanket}
	curings    = []string{"cover", "compound", "wet", "none"}
	untils     = []string{string(Placed), string(Finished), string(Stripped), string(Cured)}
)

// Languages are those that a project's alerts come in, as package say has them.
func Languages() []string { return []string{"en-US", "en", "es-419", "es-US"} }

// Validate returns nil, or a fault.Invalid error that names every field at
// fault with its value and the rule it breaks. Time zone and units may be
// empty: they are then found from the coordinates. Ranges are those within
// which the trade works (common practice, unless a line says otherwise); they
// are there to catch slips such as inches given as metres.
func (s Spec) Validate() error {
	c := &checker{}
	c.spec(s)
	return c.list.Broken(ProjectBreaksRule)
}

func (c *checker) spec(s Spec) {
	c.text("name", s.Name, 80)
	c.number("latitude", s.Latitude, -90, 90)
	c.number("longitude", s.Longitude, -180, 180)
	// The Dead Sea shore to the highest road.
	c.optional("elevation_m", s.ElevationM, -450, 6000)
	if s.TimeZone != "" {
		c.zone("time_zone", s.TimeZone)
	}
	if s.Units != "" {
		c.word("units", s.Units, unitNames)
	}
	if s.Language != nil {
		c.word("language", *s.Language, Languages())
	}
	c.number("waste_fraction", s.WasteFraction, 0, 0.5)
	c.mix(s.Mix)
	c.crew(s.Crew)
	c.practice(s.Practice)
	c.stock(s.Stock)
	c.number("limits.rain_risk", s.Limits.RainRisk, 0, 1)
	c.number("limits.lost_pad_days", s.Limits.LostPadDays, 0, 60)
	c.optional("limits.harm", s.Limits.Harm, 0.1, 50)
	c.whole("alerts.lead_min", s.Alerts.LeadMin, 0, 720)
	c.clock("alerts.evening_at", s.Alerts.EveningAt)
	c.clock("alerts.quiet_until", s.Alerts.QuietUntil)
	c.word("site.subgrade", s.Site.Subgrade, subgrades)
	c.number("site.wind_factor", s.Site.WindFactor, 0, 1)
	if s.Site.MorningShadeUntil != nil {
		c.clock("site.morning_shade_until", *s.Site.MorningShadeUntil)
	}
	if s.Site.AfternoonShadeFrom != nil {
		c.clock("site.afternoon_shade_from", *s.Site.AfternoonShadeFrom)
	}
	c.shades(s.Site.Shade)
	c.number("site.uneven_base_m", s.Site.UnevenBaseM, 0, 0.1)
	c.optional("site.base_sand_m", s.Site.BaseSandM, 0, 0.5)
	sets := c.formSets(s.FormSets)
	c.pads(s.Pads, sets)
}

// checker gathers faults.
type checker struct {
	list  fault.List
	rules map[string]Rule // of every field looked at, where they are asked for
}

func (c *checker) crew(w Crew) {
	c.whole("crew.people", w.People, 1, 50)
	c.number("crew.bags_per_hour", w.BagsPerHour, 0.5, 60)
	c.number("crew.strike_off_min_per_m2", w.StrikeOffMinPerM2, 0, 120)
	c.number("crew.finish_min_per_m2", w.FinishMinPerM2, 0, 120)
	c.word("crew.finish", w.Finish, finishes)
	setUp := c.number("crew.set_up_min", w.SetUpMin, 0, 480)
	cleanUp := c.number("crew.clean_up_min", w.CleanUpMin, 0, 480)
	if c.clock("crew.earliest_start", w.EarliestStart) && c.clock("crew.latest_finish", w.LatestFinish) {
		span := float64(w.LatestFinish - w.EarliestStart)
		switch {
		case span <= 0:
			c.add("crew.latest_finish", w.LatestFinish.String(), fault.RuleOf(LaterThan, message.Text("other",
				"earliest_start"), message.Clock("other", w.EarliestStart)))
		case setUp && cleanUp && span <= w.SetUpMin+w.CleanUpMin:
			c.add("crew.latest_finish", w.LatestFinish.String(), fault.RuleOf(NoTimeToWork))
		}
	}
	if len(w.Days) == 0 {
		c.add("crew.days", "[]", fault.RuleOf(DaysEmpty))
	}
	if c.most("crew.days", len(w.Days), len(weekdays)) {
		for i, d := range w.Days {
			path := fmt.Sprintf("crew.days[%d]", i)
			if c.word(path, d, weekdays) && slices.Contains(w.Days[:i], d) {
				c.add(path, d, fault.RuleOf(fault.GivenTwice))
			}
		}
	}
	c.number("crew.vehicle_payload_kg", w.VehiclePayloadKg, 20, 50000)
	c.number("crew.moves_per_bag", w.MovesPerBag, 0, 20)
}

func (c *checker) stock(k Stock) {
	if k.BagsOnHand != nil {
		c.whole("stock.bags_on_hand", *k.BagsOnHand, 0, 100000)
	}
	if t := k.CountedAt; t != nil && (t.Year() < 2000 || t.Year() > 2100) {
		c.add("stock.counted_at", t.Format(time.RFC3339), years())
	}
	if c.most("stock.deliveries", len(k.Deliveries), MaxDeliveries) {
		for i, d := range k.Deliveries {
			path := fmt.Sprintf("stock.deliveries[%d]", i)
			if d.Date.Year < 2000 || d.Date.Year > 2100 {
				c.add(path+".date", d.Date.String(), years())
			}
			c.whole(path+".bags", d.Bags, 1, 100000)
		}
	}
	if c.most("stock.covers", len(k.Covers), MaxCovers) {
		for i, v := range k.Covers {
			path := fmt.Sprintf("stock.covers[%d]", i)
			c.word(path+".kind", v.Kind, coverKinds)
			c.whole(path+".pads", v.Pads, 1, MaxPads)
			c.optional(path+".resistance_m2k_w", v.ResistanceM2KW, 0, 10)
			c.optional(path+".area_m2", v.AreaM2, 0.1, 10000)
		}
	}
}

// formSets checks the sets and returns their names.
func (c *checker) formSets(sets []FormSet) map[string]bool {
	names := make(map[string]bool, len(sets))
	if !c.most("form_sets", len(sets), MaxFormSets) {
		return names
	}
	for i, f := range sets {
		path := fmt.Sprintf("form_sets[%d]", i)
		if c.text(path+".name", f.Name, 80) && names[f.Name] {
			c.add(path+".name", f.Name, fault.RuleOf(FormSetNameTaken))
		}
		names[f.Name] = true
		c.whole(path+".count", f.Count, 1, MaxPads)
		c.whole(path+".cells", f.Cells, 1, MaxPads)
	}
	return names
}

func (c *checker) pads(pads []Pad, sets map[string]bool) {
	if len(pads) == 0 {
		c.add("pads", "[]", fault.RuleOf(PadsEmpty))
	}
	if !c.most("pads", len(pads), MaxPads) {
		return
	}
	names := make(map[string]bool, len(pads))
	for i, p := range pads {
		path := fmt.Sprintf("pads[%d]", i)
		if c.text(path+".name", p.Name, 80) && names[p.Name] {
			c.add(path+".name", p.Name, fault.RuleOf(PadNameTaken))
		}
		names[p.Name] = true
		c.number(path+".length_m", p.LengthM, 0.1, 30)
		c.number(path+".width_m", p.WidthM, 0.1, 30)
		// Thinner than 40 mm spalls and cracks, thicker than 500 mm is mass concrete.
		c.number(path+".thickness_m", p.ThicknessM, 0.04, 0.5)
		if e := p.EdgeThicknessM; c.optional(path+".edge_thickness_m", e, 0.04, 1.0) && e != nil && *e < p.ThicknessM {
			c.add(path+".edge_thickness_m", num(*e), fault.Below("thickness_m"))
		}
		c.number(path+".x_m", p.XM, -1000, 1000)
		c.number(path+".y_m", p.YM, -1000, 1000)
		if p.FormSet != nil && !sets[*p.FormSet] {
			c.add(path+".form_set", *p.FormSet, fault.RuleOf(FormSetUnknown))
		}
	}
	c.order(pads, names)
}

// order checks that each "after" names another pad once and that no pad waits
// for itself through others.
func (c *checker) order(pads []Pad, names map[string]bool) {
	sound := true
	for i, p := range pads {
		path := fmt.Sprintf("pads[%d].after", i)
		if !c.most(path, len(p.After), MaxAfter) {
			sound = false
			continue
		}
		seen := make(map[string]bool, len(p.After))
		for j, a := range p.After {
			at := fmt.Sprintf("%s[%d]", path, j)
			switch {
			case a.Pad == p.Name:
				c.add(at+".pad", a.Pad, fault.RuleOf(AfterItself))
			case !names[a.Pad]:
				c.add(at+".pad", a.Pad, fault.RuleOf(PadUnknown))
			case seen[a.Pad]:
				c.add(at+".pad", a.Pad, fault.RuleOf(fault.GivenTwice))
			}
			seen[a.Pad] = true
			c.word(at+".until", string(a.Until), untils)
		}
	}
	if !sound {
		return
	}
	if ring := cycle(pads); ring != nil {
		first := slices.IndexFunc(pads, func(p Pad) bool { return p.Name == ring[0] })
		c.add(fmt.Sprintf("pads[%d].after", first), strings.Join(ring, " after "), fault.RuleOf(PadsInRing))
	}
}

func (c *checker) add(path, value string, rule fault.Rule) { c.list.Break(path, value, rule) }

// number wants a finite value within a range.
func (c *checker) number(path string, v, low, high float64) bool {
	c.note(path, Rule{Min: &low, Max: &high})
	if math.IsNaN(v) || v < low || v > high {
		_, in := unit.OfName(path)
		c.add(path, num(v), fault.Range(low, high, in))
		return false
	}
	return true
}

// optional is number for a value that may be unknown.
func (c *checker) optional(path string, v *float64, low, high float64) bool {
	return v == nil || c.number(path, *v, low, high)
}

func (c *checker) whole(path string, v, low, high int) bool {
	least, most := float64(low), float64(high)
	c.note(path, Rule{Min: &least, Max: &most})
	if v < low || v > high {
		c.add(path, strconv.Itoa(v), fault.Whole(low, high))
		return false
	}
	return true
}

func (c *checker) clock(path string, v unit.Clock) bool {
	if v < 0 || v >= 24*60 {
		c.add(path, v.String(), fault.RuleOf(fault.ClockRange))
		return false
	}
	return true
}

func (c *checker) word(path, v string, of []string) bool {
	c.note(path, Rule{Words: of})
	if !slices.Contains(of, v) {
		c.add(path, v, fault.OneOf(of...))
		return false
	}
	return true
}

func (c *checker) most(path string, n, most int) bool {
	c.note(path, Rule{Most: most})
	if n > most {
		c.add(path, fmt.Sprintf("%d of them", n), fault.AtMost(most))
		return false
	}
	return true
}

// text wants a name or a phrase: not empty, one line, no control characters.
func (c *checker) text(path, v string, most int) bool {
	c.note(path, Rule{Most: most})
	switch {
	case strings.TrimSpace(v) == "":
		c.add(path, v, fault.RuleOf(fault.TextEmpty))
	case strings.TrimSpace(v) != v:
		c.add(path, v, fault.RuleOf(fault.TextBlanks))
	case utf8.RuneCountInString(v) > most:
		c.add(path, v, fault.Characters(most))
	case !utf8.ValidString(v) || strings.ContainsFunc(v, unprintable):
		c.add(path, printable(v), fault.RuleOf(fault.TextUnfit))
	default:
		return true
	}
	return false
}

func (c *checker) zone(path, v string) {
	// "Local" would mean this machine's zone, not the project's.
	if _, err := time.LoadLocation(v); err != nil || v == "Local" || strings.TrimSpace(v) != v {
		c.add(path, printable(v), fault.RuleOf(fault.ZoneUnknown))
	}
}

// unprintable reports characters that no name needs: controls, line and
// paragraph separators, invisible marks (but for the two joiners that some
// scripts are written with), and the sign of broken text.
func unprintable(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) && r != '\u200c' && r != '\u200d' || r == '\u2028' ||
		r == '\u2029' || r == utf8.RuneError
}

// printable shows a value with its unprintable characters escaped.
func printable(v string) string {
	q := strconv.QuoteToGraphic(v)
	return q[1 : len(q)-1]
}

func num(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// cycle returns the names of pads that wait for each other in a ring, the
// first repeated at the end, or nil.
func cycle(pads []Pad) []string {
	const (
		fresh = iota
		open
		closed
	)
	waits := make(map[string][]After, len(pads))
	for _, p := range pads {
		waits[p.Name] = p.After
	}
	mark := make(map[string]int, len(pads))
	var path []string
	var visit func(string) []string
	visit = func(name string) []string {
		mark[name] = open
		path = append(path, name)
		for _, a := range waits[name] {
			if a.Pad == name {
				continue // reported as a fault of its own
			}
			switch mark[a.Pad] {
			case open:
				ring := path[slices.Index(path, a.Pad):]
				return append(slices.Clone(ring), a.Pad)
			case fresh:
				if ring := visit(a.Pad); ring != nil {
					return ring
				}
			}
		}
		mark[name] = closed
		path = path[:len(path)-1]
		return nil
	}
	for _, p := range pads {
		if mark[p.Name] == fresh {
			if ring := visit(p.Name); ring != nil {
				return ring
			}
		}
	}
	return nil
}
