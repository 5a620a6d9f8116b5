package watch

import (
	"fmt"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

const unknownRain = "how much fell is not known"

// say words what an entry meant for a pad.
func (st *standing) say(f history.Effect) pour.Effect {
	if f.Code == history.StoredText {
		return f.Stored
	}
	x := f.Figures
	out := pour.Effect{Pad: f.Pad, Code: string(f.Code)}
	if f.Lost {
		out.State = pour.Lost
	}
	said := "rain"
	if x.RainMM != nil {
		said = st.depth(*x.RainMM) + " of rain"
	}
	when := said + " came before it was placed"
	if age := x.At.Sub(x.PlacedAt); !x.PlacedAt.IsZero() && age >= 0 {
		when = fmt.Sprintf("%s came %s after placing", said, spanWords(age))
	} else if !x.PlacedAt.IsZero() {
		when = said + " came while it was placed"
	}
	estimate := ""
	if !x.SetKnown {
		estimate = ", by a cautious guess, the weather since placing not being held"
	}
	initial := "before initial set at about " + st.clock(x.InitialSet) + estimate
	final := "before final set at about " + st.clock(x.FinalSet) + estimate
	switch f.Code {
	case history.RainLost:
		out.Why = fmt.Sprintf("lost: %s, %s; %s or more in an hour spoils soft concrete. Break it out and pour again",
			when, initial, st.depth(x.LimitMM))
	case history.RainSoftUnsure:
		out.Inspect = said + " on soft concrete"
		out.Why = "to be inspected: " + when + ", " + initial
		switch {
		case x.RainMM == nil:
			out.Inspect = "rain on soft concrete, " + unknownRain
			out.Why += ", and " + unknownRain
		case x.Covered == history.Unknown:
			out.Why += "; whether it lay covered is not known: open to it, the pad would be lost"
			if x.LeastMM == nil || *x.LeastMM < x.LimitMM {
				out.Why = "to be inspected: " + when + ", " + initial +
					"; had most of it come within one hour with no cover over it, the pad would be lost"
			}
		default:
			out.Why += "; had most of it come within one hour, the pad would be lost"
		}
	case history.RainSoft:
		out.Inspect = said + " on soft concrete"
		out.Why = "to be inspected: " + when + ", " + initial
		if !x.Finished {
			out.Why += "; the finish had not been closed: a washed surface is lost"
		}
	case history.RainSoftCovered:
		out.Inspect = said + " on a soft pad under a cover"
		out.Why = "to be inspected: " + when + ", " + initial + "; it lay covered: look whether water ran in or the sheet touched the face"
	case history.RainHalfPlaced:
		out.Inspect = said + " while it was being placed"
		out.Why = "to be inspected: " + said + " came while it was being placed. Strike off what is in the form, or throw it out: never leave half"
	case history.RainSettingAsked:
		out.Inspect = "rain on setting concrete, " + unknownRain
		out.Why = "to be inspected: " + when + ", " + final + ", and " + unknownRain
		if !f.Inspect {
			out.Inspect, out.Why = "", when+", after initial set, under a cover: no harm"
		}
	case history.RainSetting:
		out.Inspect = said + " on setting concrete"
		out.Why = "to be inspected: " + when + ", " + final
	case history.RainTooLittle:
		out.Why = when + ": too little to mark it"
	case history.RainAfterSet:
		out.Why = fmt.Sprintf("%s, after initial set at about %s%s: no harm", when, st.clock(x.InitialSet), estimate)
		if !x.At.Before(x.FinalSet) {
			out.Why = fmt.Sprintf("%s, after final set at about %s%s: no harm", when, st.clock(x.FinalSet), estimate)
		}
	case history.InspectedBad:
		out.Why = "blemished: washed but hard, it can be left or ground"
	}
	return out
}

// depth says an amount of rain in the project's units.
func (st *standing) depth(mm float64) string {
	if st.project.Units == "us" {
		return fmt.Sprintf("%.2g in", unit.Millimetres(mm).Inches())
	}
	return fmt.Sprintf("%.3g mm", mm)
}

func (st *standing) clock(t time.Time) string { return t.In(st.zone).Format("Mon 15:04") }

// spanWords says a span of time in hours and minutes.
func spanWords(d time.Duration) string {
	m := int(d.Round(time.Minute) / time.Minute)
	switch {
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m%60 == 0:
		return fmt.Sprintf("%d h", m/60)
	case m > 48*60:
		return fmt.Sprintf("%d days", m/(24*60))
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}
