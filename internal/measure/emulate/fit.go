package emulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"dryslot/internal/forecast"
)

// RecordFit is what forecast draws from a region's records, by season from
// winter on.
type RecordFit struct {
	Latitude float64
	Wet      [4]float64   // share of hours with more than 0.1 mm
	Lag1     [4]float64   // correlation of a wet hour's residual with the next, given forecasts of 1 to 3 days
	Reached  [4][]float64 // the same for drawn weathers, by hour-to-hour correlation of their latent series
}

// latentSteps are those correlations.
var latentSteps = []float64{0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95}

// FitRecords fits a region's records.
func FitRecords(stations []*Station, n *Noise) RecordFit {
	var f RecordFit
	for _, s := range stations {
		f.Latitude += s.Latitude / float64(len(stations))
	}
	for season := range 4 {
		f.Wet[season] = wetShare(stations, season)
	}
	days := residualDays(stations, n, []int{1, 2, 3})
	recalibrate(days)
	for season := range 4 {
		var of []Outcome
		for _, d := range days {
			if d.season == season {
				of = append(of, d.Outcome)
			}
		}
		f.Lag1[season] = Lag1(of)
		for _, phi := range latentSteps {
			f.Reached[season] = append(f.Reached[season], drawnLag1(of, phi))
		}
	}
	return f
}

// gaugeStep returns what the gauges count in, mm: the least rain that they
// ever read, taken as 0.1 mm or 0.01 inch, whichever is nearer.
func gaugeStep(stations []*Station) float64 {
	least := math.Inf(1)
	for _, s := range stations {
		for _, x := range s.RainMM {
			if x > 0 && x < least {
				least = x
			}
		}
	}
	if math.Abs(least-0.254) < math.Abs(least-0.1) {
		return 0.254
	}
	return 0.1
}

// seasonOf returns 0 for winter (December to February) to 3 for autumn.
func seasonOf(m time.Month) int { return int(m) % 12 / 3 }

// wetShare returns the share of a season's hours with more than 0.1 mm.
func wetShare(stations []*Station, season int) float64 {
	hours, wet := 0.0, 0.0
	for _, s := range stations {
		for h, x := range s.RainMM {
			if math.IsNaN(x) || seasonOf(s.Start.Add(time.Duration(h)*time.Hour).Month()) != season {
				continue
			}
			hours++
			if x > forecast.DefaultWet.OverMM+1e-9 {
				wet++
			}
		}
	}
	return wet / hours
}

// Outcome is one day's hourly chances and what came: 1 wet, 0 dry. What came
// may be a share of members.
type Outcome struct {
	Chance, Wet [dayHours]float64
}

type residualDay struct {
	Outcome
	season int
	lead   time.Duration
}

// recalibrate corrects the days' chances by what came of them: what is drawn
// from is a recalibrated chance.
func recalibrate(days []residualDay) {
	var c forecast.Counts
	for k, d := range days {
		for i, p := range d.Chance {
			c.AddPair(forecast.Pair{Chance: p, Wet: d.Wet[i] == 1, Lead: d.lead,
				Target: time.Unix(int64(k)*24*3600, 0)})
		}
	}
	cal, _ := forecast.LearnCounts(&c, &c, false)
	for k := range days {
		for i, p := range days[k].Chance {
			days[k].Chance[i] = cal.Apply(p, days[k].lead)
		}
	}
}

// residualDays gathers days of the evening forecasts of some leads in days.
func residualDays(stations []*Station, n *Noise, leads []int) []residualDay {
	var out []residualDay
	for _, lead := range leads {
		for _, s := range stations {
			for d := lead; d < s.Days(); d++ {
				f, ok := s.Run(n, s.Evening(d-lead), lead)
				if !ok || !s.whole[d] {
					continue
				}
				day := residualDay{season: seasonOf(s.dates[d].Month), lead: time.Duration(lead) * 24 * time.Hour}
				for i := range dayHours {
					h := &f.Hours[(lead-1)*dayHours+i]
					day.Chance[i] = h.Values[forecast.RainChance].V
					if s.RainMM[s.hourOfDay(d)+i] > forecast.DefaultWet.OverMM {
						day.Wet[i] = 1
					}
				}
				out = append(out, day)
			}
		}
	}
	return out
}

// Evening returns 19 o'clock of day d, when an evening's forecast is issued.
func (s *Station) Evening(d int) time.Time {
	return s.first.Add(time.Duration(d*dayHours+19) * time.Hour)
}

// Dawn returns 5 o'clock of day d.
func (s *Station) Dawn(d int) time.Time { return s.first.Add(time.Duration(d*dayHours+5) * time.Hour) }

// Lag1 returns the correlation of an hour's residual, wet less chance, with
// the next hour's of the same day, pooled.
func Lag1(days []Outcome) float64 {
	var next, own float64
	for _, d := range days {
		for i := range dayHours {
			r := d.Wet[i] - d.Chance[i]
			own += r * r / dayHours
			if i+1 < dayHours {
				next += r * (d.Wet[i+1] - d.Chance[i+1]) / (dayHours - 1)
			}
		}
	}
	return next / own
}

// drawnLag1 returns the pooled correlation that weathers drawn with a fast
// latent series of a given correlation reach under the chances of the days. Every third day is used.
func drawnLag1(days []Outcome, phi float64) float64 {
	const members, every, slowPhi = 100, 3, forecast.SlowCorrelation
	rnd := rand.New(rand.NewPCG(uint64(phi*1000), 7))
	var next, own float64
	fast, slow := make([]float64, members), make([]float64, members)
	z, sorted := make([]float64, members), make([]float64, members)
	was, is := make([]float64, members), make([]float64, members)
	for d := 0; d < len(days); d += every {
		for m := range z {
			fast[m], slow[m] = rnd.NormFloat64(), rnd.NormFloat64()
		}
		for i, p := range days[d].Chance {
			for m := range z {
				z[m] = fast[m] * forecast.Scale(slow[m])
			}
			copy(sorted, z)
			slices.Sort(sorted)
			k := int(math.Round(p * members))
			for m := range z {
				is[m] = -float64(k) / members
				if k > 0 && z[m] >= sorted[members-k] {
					is[m]++
				}
				own += is[m] * is[m] / dayHours
				if i > 0 {
					next += was[m] * is[m] / (dayHours - 1)
				}
				fast[m] = phi*fast[m] + math.Sqrt(1-phi*phi)*rnd.NormFloat64()
				if (i+1)%forecast.SlowHours == 0 {
					slow[m] = slowPhi*slow[m] + math.Sqrt(1-slowPhi*slowPhi)*rnd.NormFloat64()
				}
			}
			was, is = is, was
		}
	}
	return next / own
}

// String writes the fit as the Go values that forecast keeps.
func (f RecordFit) String() string {
	s := fmt.Sprintf("records{\n\tlatitude: %.1f,\n", f.Latitude)
	row := func(name string, v []float64) {
		s += fmt.Sprintf("\t%s{%.3f, %.3f, %.3f, %.3f},\n", name, v[0], v[1], v[2], v[3])
	}
	row("wet:  [4]float64", f.Wet[:])
	row("lag1: [4]float64", f.Lag1[:])
	s += "\treached: [4][latentSteps]float64{\n"
	for _, reached := range f.Reached {
		s += "\t\t{"
		for i, r := range reached {
			if i > 0 {
				s += ", "
			}
			s += fmt.Sprintf("%.3f", r)
		}
		s += "},\n"
	}
	return s + "\t},\n}\n"
}
