package check

import (
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// span is the time that one pad keeps its form.
type span struct {
	pad      string
	day      unit.Date // that it was placed on
	from, to time.Time
}

// far stands for a form that is not freed within the weather known.
func far() time.Time { return time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC) }

// forms holds that no form set is used for more pads at a time than it holds: a form
// is in use from placing until its pads may be stripped, and holds pads of one day.
func (c *checker) forms(days []Day) {
	for _, set := range c.s.Spec.FormSets {
		spans := append(c.spansBefore(set.Name), c.spansPlanned(set.Name, days)...)
		for _, a := range spans {
			if forms := used(spans, a.from, set.Cells); forms > set.Count {
				c.fault("form set %s has %d forms of %d, and %d are in use when %s is placed", set.Name, set.Count,
					set.Cells, forms, a.pad)
			}
		}
	}
}

// used is how many forms are in use at an instant. Of gang forms, a day's pads lie in
// forms of their own, all of which are stripped with the last.
func used(spans []span, at time.Time, cells int) (forms int) {
	placed, lies := map[unit.Date]int{}, map[unit.Date]bool{}
	for _, b := range spans {
		if b.from.After(at) {
			continue
		}
		lying := b.to.After(at.Add(tolerance))
		if cells == 1 && lying {
			forms++
		}
		placed[b.day]++
		lies[b.day] = lies[b.day] || lying
	}
	if cells == 1 {
		return forms
	}
	for day, pads := range placed {
		if lies[day] {
			forms += (pads + cells - 1) / cells
		}
	}
	return forms
}

// spansBefore are those of pads that were placed before the plan begins.
func (c *checker) spansBefore(set string) (spans []span) {
	for name := range c.pads {
		r := c.rec[name]
		if !c.uses(name, set) || r.State != pour.Placed && r.State != pour.Finished {
			continue
		}
		until, ok := c.s.FreeAt[name]
		if !ok {
			until = far()
		}
		day := unit.Date{}
		if r.PlacedAt != nil {
			day = unit.DateOf(*r.PlacedAt, c.s.Zone)
		}
		spans = append(spans, span{name, day, time.Time{}, until})
	}
	return spans
}

// spansPlanned are those of the pads that the days place.
func (c *checker) spansPlanned(set string, days []Day) (spans []span) {
	for _, d := range days {
		for _, t := range d.Pads {
			if !c.uses(t.Pad, set) {
				continue
			}
			until := t.StripFrom
			if until.IsZero() {
				until = far()
			}
			spans = append(spans, span{t.Pad, d.Date, t.PlaceStart, until})
		}
	}
	return spans
}

func (c *checker) uses(pad, set string) bool {
	p := c.pads[pad]
	return p.FormSet != nil && *p.FormSet == set
}
