package form

import (
	"slices"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Guards are what may be done to the base and against drying, as the field "guard"
// names them. One that is not ticked is not sent, so base_cover says that they were
// asked.
var Guards = [...]string{"base_wetted", "windbreak", "shade_net", "evaporation_film", "fogging"}

// guardOf is the part of a practice that a guard stands for.
func guardOf(x *pour.Practice, guard string) *bool {
	switch guard {
	case "base_wetted":
		return &x.BaseWetted
	case "windbreak":
		return &x.Windbreak
	case "shade_net":
		return &x.Shade
	case "evaporation_film":
		return &x.EvaporationFilm
	}
	return &x.Fogging
}

func (w writer) practice(x pour.Practice) {
	for _, g := range Guards {
		if *guardOf(&x, g) {
			w.Add("guard", g)
		}
	}
	w.Set("curing", x.Curing)
	w.Set("curing_days", w.optional(x.CuringDays, func(v float64) string { return w.digits(v, 2) }))
}

func (f reader) practice(x *pour.Practice) {
	if f.Has("base_cover") {
		for _, g := range Guards {
			*guardOf(x, g) = slices.Contains(f.Values["guard"], g)
		}
	}
	f.word("curing", &x.Curing)
	f.optional("curing_days", &x.CuringDays, f.number)
}

// baseCover reads what lies on the base the night before, which a project may give in
// two ways: one that is the same leaves both as they are.
func (f reader) baseCover(s *pour.Spec) {
	now := s.BaseCover()
	was := now
	f.word("base_cover", &now)
	if now != was {
		s.Practice.BaseCover, s.Site.BaseCovered = now, false
	}
}

// added writes the mix's figures that are given beside those of the bag.
func (w writer) added(m pour.Mix) {
	w.Set("admixture", m.Admixture)
	w.Set("water_used", w.optional(m.WaterUsedLPerBag, w.water))
	w.Set("slump", w.optional(m.SlumpMM, func(mm float64) string { return w.small(mm / 1000) }))
	w.Set("label_set", w.optional(m.LabelInitialSetMin, func(v float64) string { return w.digits(v, 1) }))
	w.Set("label_walk", w.optional(m.LabelWalkOnH, func(v float64) string { return w.digits(v, 2) }))
}

func (f reader) added(m *pour.Mix) {
	f.word("admixture", &m.Admixture)
	litres := "l"
	if f.r.US {
		litres = "qt"
	}
	f.optional("water_used", &m.WaterUsedLPerBag, func(name string, v *float64) { f.volume(name, litres, v) })
	f.optional("slump", &m.SlumpMM, func(name string, mm *float64) {
		v := *mm / 1000
		if f.length(name, small, &v); v != *mm/1000 {
			*mm = v * 1000
		}
	})
	f.optional("label_set", &m.LabelInitialSetMin, f.number)
	f.optional("label_walk", &m.LabelWalkOnH, f.number)
}

// endOfDay stands in a time without sun for: from then on.
const endOfDay = unit.Clock(24*60 - 1)

// shades writes times without sun: 3:00 pm - 6:00 pm; 20:00 - 22:00.
func (w writer) shades(site pour.Site) {
	all := slices.Clone(site.Shade)
	if from := site.AfternoonShadeFrom; from != nil {
		all = append(all, pour.Shade{From: *from, Until: endOfDay})
	}
	var out []string
	for _, v := range all {
		out = append(out, w.r.ClockOf(v.From)+" - "+w.r.ClockOf(v.Until))
	}
	w.Set("shade_hours", strings.Join(out, "; "))
}

// shades reads times without sun, each from and until, with anything between them that
// people write there.
func (f reader) shades(site *pour.Site) {
	if !f.Has("shade_hours") {
		return
	}
	var all []pour.Shade
	var afternoon *unit.Clock
	text := strings.NewReplacer(",", ";", "\n", ";").Replace(f.value("shade_hours"))
	for span := range strings.SplitSeq(text, ";") {
		if span = strings.TrimSpace(span); span == "" {
			continue
		}
		from, until, ok := cutSpan(span)
		if !ok {
			f.wrong("shade_hours", fault.RuleOf(SpanTyped))
			return
		}
		a, err := unit.ParseTime(from)
		f.refused("shade_hours", err)
		b, err2 := unit.ParseTime(until)
		f.refused("shade_hours", err2)
		if err != nil || err2 != nil {
			return
		}
		if b == endOfDay && afternoon == nil {
			afternoon = &a
			continue
		}
		all = append(all, pour.Shade{From: a, Until: b})
	}
	site.Shade, site.AfternoonShadeFrom = append([]pour.Shade{}, all...), afternoon
}

// cutSpan parts "3 pm to 6 pm".
func cutSpan(s string) (from, until string, ok bool) {
	s = strings.ToLower(strings.TrimPrefix(strings.TrimPrefix(strings.ToLower(s), "from "), "de "))
	for _, between := range [...]string{"\u2013", "\u2014", "-", " until ", " till ", " to ", " hasta ", " a "} {
		if from, until, ok = strings.Cut(s, between); ok {
			return strings.TrimSpace(from), strings.TrimSpace(until), true
		}
	}
	return "", "", false
}

// SpanTyped is the rule of a field of times.
const SpanTyped message.Code = "span_typed"
