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
		var spans []span
		for name, p := range c.pads {
			if p.FormSet == nil || *p.FormSet != set.Name {
				continue
			}
			if r := c.rec[name]; r.State == pour.Placed || r.State == pour.Finished {
				until, ok := c.s.FreeAt[name]
				if !ok {
					until = far()
				}
				spans = append(spans, span{name, time.Time{}, until})
			}
		}
		for _, d := range days {
			for _, t := range d.Pads {
				p := c.pads[t.Pad]
				if p.FormSet == nil || *p.FormSet != set.Name {
					continue
				}
				until := t.StripFrom
				if until.IsZero() {
					until = far()
				}
				spans = append(spans, span{t.Pad, t.PlaceStart, until})
			}
		}
		for _, a := range spans {
			held := 0
			for _, b := range spans {
				if !b.from.After(a.from) && b.to.After(a.from.Add(tolerance)) {
					held++
				}
			}
			if held > set.Count {
				c.fault("form set %s holds %d pads and %d are in it when %s is placed", set.Name, set.Count, held, a.pad)
			}
		}
	}
}
