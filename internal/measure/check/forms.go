package check

import (
	"time"

	"dryslot/internal/pour"
)

// span is the time that one pad keeps its form.
type span struct {
	pad      string
	from, to time.Time
}

// far stands for a form that is not freed within the weather known.
func far() time.Time { return time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC) }

// forms holds that no form set is used for more pads at a time than it holds:
// a form is in use from placing until its pad may be stripped.
func (c *checker) forms(days []Day) {
	for _, set := range c.s.Spec.FormSets {
		spans := append(c.spansBefore(set.Name), c.spansPlanned(set.Name, days)...)
		for _, a := range spans {
			held := 0
			for _, b := range spans {
				if !b.from.After(a.from) && b.to.After(a.from.Add(tolerance)) {
					held++
				}
			}
			if held > set.Count {
				c.fault("form set %s holds %d pads and %d are in it when %s is placed", set.Name, set.Count, held,
					a.pad)
			}
		}
	}
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
		spans = append(spans, span{name, time.Time{}, until})
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
			spans = append(spans, span{t.Pad, t.PlaceStart, until})
		}
	}
	return spans
}

func (c *checker) uses(pad, set string) bool {
	p := c.pads[pad]
	return p.FormSet != nil && *p.FormSet == set
}
