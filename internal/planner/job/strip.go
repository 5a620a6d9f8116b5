package job

import (
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// StripTogether has the pads of a gang form wait for each other with stripping.
func StripTogether(s *pour.Spec, pads []PadTimes, zone *time.Location) {
	all := make([]pour.Stripping, len(pads))
	for i, t := range pads {
		all[i] = pour.Stripping{Pad: t.Pad, Placed: unit.DateOf(t.PlaceStart, zone)}
		if t.StripFrom != nil {
			all[i].From = *t.StripFrom
		}
	}
	s.StripTogether(all)
	for i, x := range all {
		pads[i].StripFrom = nil
		if !x.From.IsZero() {
			pads[i].StripFrom = &x.From
		}
	}
}
