package emulate

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dryslot/internal/forecast"
)

// Service turns emulated forecasts into weathers as the service turns a feed's
// run into them: hourly chances recalibrated by what came of them, rain drawn
// by forecast.Draw. The recalibration is learned from the region's odd months
// for use in even ones, and the other way round, so that no forecast is
// corrected by its own outcome.
type Service struct {
	Region *Region
	cal    [2]*forecast.Recalibration // for even and for odd months
	step   float64                    // mm that the region's gauges count in
}

// NewService learns the recalibrations from every every-th day.
func NewService(r *Region, every int) *Service {
	const leads = 3
	bands := []time.Duration{20 * time.Hour, 32 * time.Hour, 56 * time.Hour, 80 * time.Hour}
	var pairs [2][]forecast.Pair
	for _, s := range r.Stations {
		for d := leads + 1; d < s.Days(); d += max(1, every) {
			if !s.whole[d] {
				continue
			}
			for lead := range leads {
				for _, at := range []time.Time{s.Dawn(d - lead), s.Evening(d - lead - 1)} {
					f, ok := s.run(&r.Noise, at, s.hourOfDay(d), d, d+1)
					if !ok {
						continue
					}
					other := 1 - int(s.dates[d].Month)%2
					for _, p := range s.pairs(d, f) {
						if p.Lead >= 0 {
							pairs[other] = append(pairs[other], p)
						}
					}
				}
			}
		}
	}
	v := &Service{Region: r, step: gaugeStep(r.Stations)}
	for i := range v.cal {
		v.cal[i], _ = forecast.Learn(pairs[i], bands, forecast.PriorRun())
	}
	return v
}

// Scenarios returns the weathers of the forecast issued at an instant: the
// hours before it as they were, then rain drawn from recalibrated hourly
// chances and told as the region's gauges would read it, with the dry weathers
// of Issue's tracks. ok as of Issue.
func (v *Service) Scenarios(s *Station, at time.Time, x Extent) (_ *forecast.Scenarios, ok bool) {
	day0 := s.DayOf(at)
	tracks := x
	tracks.Members, tracks.Tracks = x.Tracks, x.Tracks
	sc, ok := s.Issue(&v.Region.Noise, at, tracks)
	if !ok {
		return nil, false
	}
	run, ok := s.run(&v.Region.Noise, at, s.Index(at), day0, day0+x.Days+1)
	if !ok {
		return nil, false
	}
	month := int(s.dates[min(day0+1, s.Days()-1)].Month)
	drawn, err := forecast.Draw(run, forecast.DrawOptions{Members: x.Members, Tracks: 1, Recalibration: v.cal[month%2]})
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
			w.RainMM[h] = v.read(w.RainMM[h])
		}
		sc.Members[m] = w
	}
	return sc, len(sc.Members[0].RainMM) == sc.Hours && !math.IsNaN(sc.Members[0].RainMM[past])
}

// read returns what a gauge reads of an hour's rain in mm. A wet hour shows: its
// chance was counted from readings. What comes is judged by a gauge, so what is
// foreseen must be told as one tells it: a New York gauge never reads less than
// 0.254 mm, where drawn rain is often less.
func (v *Service) read(mm float64) float64 {
	if mm <= forecast.DefaultWet.OverMM {
		return mm
	}
	least := math.Ceil(forecast.DefaultWet.OverMM/v.step+1e-6) * v.step
	return max(least, math.Round(mm/v.step)*v.step)
}
