package advise

import (
	"dryslot/internal/planner/job"

	"dryslot/internal/planner/policy"
)

// padTimes writes a tally in the public form.
func (f *Adviser) padTimes(d *policy.DayWork) []job.PadTimes {
	out := make([]job.PadTimes, len(d.Tally))
	for j := range d.Tally {
		t := &d.Tally[j]
		at := func(after float64) float64 { return t.Place0 + after }
		out[j] = job.PadTimes{Pad: f.Pads[d.Pads[j]].Name, PlaceStart: f.Clock(t.Place0), PlaceEnd: f.Clock(t.Place1),
			FinishStart: f.Clock(t.Fin0), FinishEnd: f.Clock(t.Fin1), FinishFrom: f.ClockPtr(t.From),
			FinishUntil: f.ClockPtr(t.Until),
			InitialSet:  f.ClockPtr(at(t.Slab.Initial)), FinalSet: f.ClockPtr(at(t.Slab.Final)),
			StripFrom: f.ClockPtr(at(t.Slab.Strip)),
			WalkFrom:  f.ClockPtr(at(t.Slab.Walk)), CuredBy: f.ClockPtr(at(t.Slab.Cured)), Cover: f.Cover.Cover,
			ChanceUnharmed: policy.Round4(t.Unharmed), ChanceDry: policy.Round4(t.Dry),
			ChanceInspect: policy.Round4(t.Inspect), InspectRain: policy.Round4(t.InspectRain),
			InspectDrying: policy.Round4(t.InspectDrying),
			ChipChance:    t.Slab.Chip, ReasonData: f.threatTo(d, j)}
		if f.Cover.Cover != "" {
			out[j].UncoverFrom = f.ClockPtr(at(t.Slab.Uncover))
		}
	}
	job.StripTogether(&f.Spec, out, f.Zone)
	return out
}

func (f *Adviser) names(pads []int) []string {
	out := make([]string, len(pads))
	for i, p := range pads {
		out[i] = f.Pads[p].Name
	}
	return out
}
