package emulate

import (
	"fmt"
	"io"
)

// MeasureNowcast returns what the ordinary nowcast reaches over a region's
// stations, as the mean over a number of realisations of its errors.
func (r *Region) MeasureNowcast(realisations int) Reliability {
	var hit, missed, falsely [nowcastLeads]float64
	var onset, going [2]float64 // hours, and those foreseen at the next hour
	count := func(s *Station, n *Nowcast) {
		s.eachWorkHour(func(h int) {
			for lead := range hit {
				switch said := n.said[lead][h] != ForeseenDry; {
				case said && s.rains(h):
					hit[lead]++
				case said:
					falsely[lead]++
				case s.rains(h):
					missed[lead]++
				}
			}
			of := &going
			switch s.hourClass(h) {
			case wetOnset:
				of = &onset
			case wetGoingOn:
			default:
				return
			}
			of[0]++
			if n.said[1][h] != ForeseenDry {
				of[1]++
			}
		})
	}
	for _, s := range r.Stations {
		for seed := range realisations {
			count(s, s.nowcast(OrdinaryNowcast, uint64(seed)))
		}
	}
	out := Reliability{Onset: onset[1] / onset[0], Continuation: going[1] / going[0]}
	for lead := range hit {
		out.Detected[lead] = hit[lead] / (hit[lead] + missed[lead])
		out.FalseAlarm[lead] = falsely[lead] / (falsely[lead] + hit[lead])
	}
	return out
}

// Print writes a measured reliability beside the stated one.
func (m Reliability) Print(w io.Writer, region string) error {
	stated := Ordinary()
	if _, err := fmt.Fprintf(w, "%s, nowcast of 0.25 mm or more, emulated\n", region); err != nil {
		return err
	}
	for lead, name := range [nowcastLeads]string{"rest of the hour", "next hour", "2nd", "3rd and 4th", "5th and 6th"} {
		if _, err := fmt.Fprintf(w, "  %-16s  detected %.2f, stated %.2f; false alarms %.2f, stated %.2f\n", name,
			m.Detected[lead], stated.Detected[lead], m.FalseAlarm[lead], stated.FalseAlarm[lead]); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(
		w,
		"  next hour: onset %.2f, stated %.2f; continuation %.2f, stated %.2f\n",
		m.Onset,
		stated.Onset,
		m.Continuation,
		stated.Continuation,
	)
	return err
}
