package emulate

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// A target date is forecast at dawn (05:00) and in the evening (19:00) of the
// days before it. Runs number these, the newest first: run 0 at dawn of the
// date, run 1 the evening before, run 2 the dawn before that, and so on.
const (
	dawnLeadH    = 7  // hours from 05:00 to noon of the date
	eveningLeadH = 17 // from 19:00 the evening before
	lastRun      = 25
)

func leadOfRun(run int) float64 {
	lead := float64(run / 2 * 24)
	if run%2 == 0 {
		return lead + dawnLeadH
	}
	return lead + eveningLeadH
}

// runOf returns the newest run that is no newer than a lead in hours.
func runOf(leadH float64) int {
	for run := range lastRun {
		if leadOfRun(run) >= leadH {
			return run
		}
	}
	return lastRun
}

// Target is the skill that a forecast is made to have at a lead.
type Target struct {
	LeadH float64 // hours to noon of the date
	Skill float64 // Brier skill against the season's share, of 0.25 mm or more in the day
}

// Targets are the skills of ordinary forecasts of rain against one gauge:
// recalibrated 50-member ensembles reach 0.49 at about one day (Frankfurt,
// 2007 to 2017), forecasters' own chances 0.22 at one day and none at two
// (Tampere, 2003); nothing is left after a week. In between: judgement.
var Targets = []Target{{dawnLeadH, 0.48}, {eveningLeadH, 0.45}, {eveningLeadH + 48, 0.25}, {eveningLeadH + 144, 0.02}}

// widen is how much wider the weights are than the noise: with one year of
// days few lie near a signal, and weights as narrow as the noise would lean on
// one or two of them and be too sure (judgement; the reliability reached is
// printed).
const widen = 1.25

// Noise is the standard deviation of a region's signal noise by run.
type Noise [lastRun + 1]float64

// FitNoise finds the noise at which the stations' forecasts have the target
// skills, and interpolates between them in the logarithm. It returns what was
// reached at each target.
func FitNoise(stations []*Station, targets []Target) (Noise, []Target) {
	fitted := make([]float64, len(targets))
	reached := make([]Target, len(targets))
	for i, t := range targets {
		lo, hi := math.Log(0.15), math.Log(12)
		const halvings = 12
		for range halvings {
			mid := (lo + hi) / 2
			if skillAt(stations, math.Exp(mid)) > t.Skill {
				lo = mid
			} else {
				hi = mid
			}
		}
		fitted[i] = (lo + hi) / 2
		if i > 0 {
			fitted[i] = max(fitted[i], fitted[i-1]) // a walk's noise only grows with lead
		}
		reached[i] = Target{t.LeadH, skillAt(stations, math.Exp(fitted[i]))}
	}
	var n Noise
	for run := range n {
		n[run] = math.Exp(along(targets, fitted, leadOfRun(run)))
	}
	return n, reached
}

// along interpolates and, past the last target, stays.
func along(ts []Target, v []float64, lead float64) float64 {
	if lead <= ts[0].LeadH {
		return v[0]
	}
	for i := 1; i < len(ts); i++ {
		if lead <= ts[i].LeadH {
			w := (lead - ts[i-1].LeadH) / (ts[i].LeadH - ts[i-1].LeadH)
			return v[i-1]*(1-w) + v[i]*w
		}
	}
	return v[len(v)-1]
}

// skillAt returns the Brier skill of the stations' chances of a wet day, days
// 100 to 290 of the year, with a given noise.
func skillAt(stations []*Station, noise float64) float64 {
	var brier, climate float64
	w := make([]float64, 0, 512)
	for _, s := range stations {
		for d := range s.Days() {
			if y := s.DayOfYear(d); y < 100 || y > 290 || !s.whole[d] || len(s.season[d]) == 0 {
				continue
			}
			f := s.desc[d]
			rnd := rand.New(rand.NewPCG(s.id, uint64(d)))
			for b := range f {
				f[b] += noise * rnd.NormFloat64()
			}
			w = s.weights(w[:0], d, f, noise*widen)
			var p, base float64
			for i, k := range s.season[d] {
				if s.damp[k] {
					p += w[i]
					base++
				}
			}
			base /= float64(len(s.season[d]))
			o := 0.0
			if s.damp[d] {
				o = 1
			}
			brier += (p - o) * (p - o)
			climate += (base - o) * (base - o)
		}
	}
	return 1 - brier/climate
}

// weights appends the weight of each day of d's season, given a signal: they
// sum to 1. Of a day that is not whole nothing is foreseen: equal weights.
func (s *Station) weights(w []float64, d int, signal description, width float64) []float64 {
	least := math.Inf(1)
	for _, k := range s.season[d] {
		sq := 0.0
		for b, z := range s.desc[k] {
			sq += (z - signal[b]) * (z - signal[b])
		}
		if !s.whole[d] {
			sq = 0
		}
		w = append(w, sq)
		least = min(least, sq)
	}
	sum := 0.0
	for i, sq := range w {
		w[i] = math.Exp(-(sq - least) / (2 * width * width))
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// signal returns what run says of day d: its description, and one random walk
// of noise per date and station, so that the newest run holds all there is.
func (s *Station) signal(n *Noise, d, run int) (description, float64) {
	f := s.desc[d]
	air := 0.0
	rnd := rand.New(rand.NewPCG(s.id, 1<<32|uint64(d)))
	was, airWas := 0.0, 0.0
	for r := 0; r <= run; r++ {
		step := math.Sqrt(max(0, n[r]*n[r]-was*was))
		for b := range f {
			f[b] += step * rnd.NormFloat64()
		}
		e := airNoise(leadOfRun(r))
		air += math.Sqrt(max(0, e*e-airWas*airWas)) * rnd.NormFloat64()
		was, airWas = n[r], e
	}
	return f, air
}

// airNoise is how far a forecast of the day's mean air temperature errs, in K,
// at a lead in hours (judgement: 0.8 K at dawn, 1 K the evening before, half a
// kelvin more for each further day).
func airNoise(leadH float64) float64 { return 0.8 + 0.02*(leadH-dawnLeadH) }

func hash(s string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(s))
	return h.Sum64()
}
