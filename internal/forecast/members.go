package forecast

import (
	"math"
	"time"

	"dryslot/internal/fault"
)

// AddMembers puts the members of an ensemble beside the hours, whose series
// count hours from the whole hour start. What lies outside the forecast's
// hours is left out; what the members do not reach is unknown. Members without
// any value in the forecast's hours are refused: they are of another time.
func (f *Forecast) AddMembers(start time.Time, members []Member) error {
	if len(f.Hours) == 0 {
		return fault.New(fault.Invalid, "forecast: an ensemble needs hours to stand beside")
	}
	shift := int(start.Sub(f.Hours[0].Start) / time.Hour)
	out, any := make([]Member, len(members)), false
	for i := range members {
		out[i].Name = members[i].Name
		for v, from := range members[i].Values {
			if to, some := from.moved(shift, len(f.Hours)); some {
				out[i].Values[v], any = to, true
			}
		}
	}
	if !any {
		var bad fault.List
		bad.Add(
			"members",
			start.Format(time.RFC3339),
			"must hold values within the forecast's hours, from "+f.Hours[0].Start.Format(time.RFC3339),
		)
		return bad.Err("forecast: the ensemble can't stand beside the forecast")
	}
	f.Members = out
	return nil
}

// moved returns the series laid into n hours with its first value at shift,
// and whether any value is known.
func (s Series) moved(shift, n int) (Series, bool) {
	to, some := newSeries(n), false
	for i := range to {
		if j := i - shift; j >= 0 && j < len(s) && !math.IsNaN(s[j]) {
			to[i], some = s[j], true
		}
	}
	if !some {
		return nil, false
	}
	return to, true
}
