package emulate

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dryslot/internal/forecast"
)

// Scenarios turns the forecast issued at an instant into scenarios as the
// service turns a feed's single run into them: rain drawn by forecast.Draw from
// hourly chances and amounts with a correction (nil: that of a first day), the
// hours before as they were, and the dry weathers of Issue's tracks. Rain is
// given as the region's gauges would read it. ok as of Issue.
func (r *Region) Scenarios(
	s *Station,
	at time.Time,
	x Extent,
	cal *forecast.Recalibration,
) (_ *forecast.Scenarios, ok bool) {
	sc, ok := r.Issue(s, at, x)
	if !ok {
		return nil, false
	}
	run, ok := s.Forecast(&r.Noise, at, x.Days)
	if !ok {
		return nil, false
	}
	drawn, err := forecast.Draw(run, forecast.DrawOptions{Members: x.Members, Tracks: 1, Recalibration: cal})
	if err != nil {
		panic(fmt.Sprintf("emulate: its own forecast was refused: %v", err)) // a slip here, not bad input
	}
	past := int(at.Sub(sc.Start) / time.Hour)
	dry := sc.Members
	sc.Members = make([]forecast.Weather, x.Members)
	for m := range sc.Members {
		w := dry[m/2%x.Tracks]
		w.RainMM = slices.Concat(w.RainMM[:past], drawn.Members[m].RainMM)
		for h := past; h < len(w.RainMM); h++ {
			w.RainMM[h] = gaugeReads(w.RainMM[h], r.step)
		}
		sc.Members[m] = w
	}
	return sc, len(sc.Members[0].RainMM) == sc.Hours && !math.IsNaN(sc.Members[0].RainMM[past])
}

// Issue returns the dry weathers of Scenarios, a member for each track, with the
// rain of analogue days.
func (r *Region) Issue(s *Station, at time.Time, x Extent) (_ *forecast.Scenarios, ok bool) {
	x.Members = x.Tracks
	return s.Issue(&r.Noise, at, x)
}

// Forecast returns the single run issued at an instant, from that hour to the
// end of the day so many days later. ok as of Issue.
func (s *Station) Forecast(n *Noise, at time.Time, days int) (_ *forecast.Forecast, ok bool) {
	day0 := s.DayOf(at)
	return s.run(n, at, s.Index(at), day0, day0+days+1)
}

// gaugeReads returns what a gauge that counts in steps reads of an hour's rain;
// both in mm. A wet hour shows: its chance was counted from readings. What comes
// is judged by a gauge, so what is foreseen must be as one reads it: a New York
// gauge never reads less than 0.254 mm, where drawn rain is often less.
func gaugeReads(mm, step float64) float64 {
	if mm <= forecast.DefaultWet.OverMM {
		return mm
	}
	least := math.Ceil(forecast.DefaultWet.OverMM/step+1e-6) * step
	return max(least, math.Round(mm/step)*step)
}
