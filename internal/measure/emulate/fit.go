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
	Wet      [4]float64          // share of hours with more than 0.1 mm
	Rain     [4]forecast.Amounts // in those hours
	Tilt     [2]float64          // logarithm of the scale of amounts at a chance of 0, and more at a chance of 1
	Lag1     [4]float64          // correlation of a wet hour's residual with the next, given forecasts of 1 to 3 days
	Reached  [4][]float64        // the same for drawn weathers, by hour-to-hour correlation of their latent series
}

// latentSteps are those correlations.
var latentSteps = []float64{0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95}

// FitRecords fits a region's records.
func FitRecords(stations []*Station, n *Noise) RecordFit {
	var f RecordFit
	step := gaugeStep(stations)
	for _, s := range stations {
		f.Latitude += s.Latitude / float64(len(stations))
	}
	for season := range 4 {
		f.Wet[season], f.Rain[season] = fitAmounts(stations, season, step)
	}
	days := residualDays(stations, n, []int{1, 2, 3}, f.Rain)
	recalibrate(days)
	f.Tilt = fitTilt(days, f.Rain, step)
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

// fitAmounts fits a Weibull distribution to the readings above 0.1 mm, each
// taken as anything that rounds to it, by greatest likelihood.
func fitAmounts(stations []*Station, season int, step float64) (share float64, a forecast.Amounts) {
	counts := map[int]float64{}
	hours, wet := 0.0, 0.0
	for _, s := range stations {
		for h, x := range s.RainMM {
			if math.IsNaN(x) || seasonOf(s.Start.Add(time.Duration(h)*time.Hour).Month()) != season {
				continue
			}
			hours++
			if x > forecast.DefaultWet.OverMM+1e-9 {
				wet++
				counts[int(math.Round(x/step))]++
			}
		}
	}
	least := math.MaxInt
	for k := range counts {
		least = min(least, k)
	}
	edge := func(k int) float64 { return (float64(k) - 0.5) * step }
	minus := func(scale, shape float64) float64 {
		over := func(x float64) float64 { return math.Exp(-math.Pow(x/scale, shape)) }
		ll := 0.0
		for k, c := range counts {
			ll -= c * math.Log(max(1e-300, (over(edge(k))-over(edge(k+1)))/over(edge(least))))
		}
		return ll
	}
	scaleFor := func(shape float64) float64 {
		return golden(0.02, 5, func(scale float64) float64 { return minus(scale, shape) })
	}
	shape := golden(0.3, 1.3, func(shape float64) float64 { return minus(scaleFor(shape), shape) })
	return wet / hours, forecast.Amounts{Scale: scaleFor(shape), Shape: shape}
}

// fitTilt finds how the amounts of wet hours grow with their chance.
func fitTilt(days []residualDay, rain [4]forecast.Amounts, step float64) [2]float64 {
	least := math.Ceil(forecast.DefaultWet.OverMM/step + 1e-6) // the least reading that is wet, in steps
	minus := func(at0, more float64) float64 {
		ll := 0.0
		for i := range days {
			d := &days[i]
			for h, x := range d.mm {
				if d.Wet[h] == 0 {
					continue
				}
				a := rain[d.season]
				a.Scale *= d.scale[h] * math.Exp(at0+more*d.Chance[h])
				over := func(k float64) float64 { return math.Exp(-math.Pow((k-0.5)*step/a.Scale, a.Shape)) }
				k := math.Round(x / step)
				ll -= math.Log(max(1e-300, (over(k)-over(k+1))/over(least)))
			}
		}
		return ll
	}
	best := func(more float64) float64 {
		return golden(-2.5, 1, func(at0 float64) float64 { return minus(at0, more) })
	}
	more := golden(0, 4, func(more float64) float64 { return minus(best(more), more) })
	return [2]float64{best(more), more}
}

// golden returns where a function of one dip is least.
func golden(lo, hi float64, f func(float64) float64) float64 {
	const close = 1e-3
	r := (math.Sqrt(5) - 1) / 2
	a, b := hi-r*(hi-lo), lo+r*(hi-lo)
	fa, fb := f(a), f(b)
	for hi-lo > close {
		if fa < fb {
			hi, b, fb = b, a, fa
			a = hi - r*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + r*(hi-lo)
			fb = f(b)
		}
	}
	return (lo + hi) / 2
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
	mm     [dayHours]float64
	scale  [dayHours]float64 // of amounts, by the run's own
}

// recalibrate corrects the days' chances by what came of them: what is drawn
// from is a recalibrated chance.
func recalibrate(days []residualDay) {
	var c forecast.Counts
	for k, d := range days {
		for i, p := range d.Chance {
			c.AddPair(forecast.Pair{Chance: p, Wet: d.Wet[i] == 1, Lead: d.lead, Target: time.Unix(int64(k)*24*3600, 0)})
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
func residualDays(stations []*Station, n *Noise, leads []int, rain [4]forecast.Amounts) []residualDay {
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
					day.Chance[i], day.mm[i] = h.Values[forecast.RainChance].V, s.RainMM[s.hourOfDay(d)+i]
					day.scale[i] = forecast.ScaleFor(
						h.Values[forecast.RainMM],
						forecast.DefaultWet.OverMM,
						h.Start.Sub(f.FetchedAt()),
						rain[day.season],
					)
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
	s += "\train: [4]Amounts{"
	for i, a := range f.Rain {
		if i > 0 {
			s += ", "
		}
		s += fmt.Sprintf("{%.3f, %.3f}", a.Scale, a.Shape)
	}
	s += "},\n"
	s += fmt.Sprintf("\ttilt: [2]float64{%.3f, %.3f},\n", f.Tilt[0], f.Tilt[1])
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
