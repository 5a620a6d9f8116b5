package pour

import "dryslot/internal/unit"

// On is the pour that a plan has on a date; nil: none.
func (p Plan) On(d unit.Date) *Pour {
	for i := range p.Pours {
		if x := &p.Pours[i]; x.Date == d && len(x.Pads) > 0 {
			return x
		}
	}
	return nil
}
