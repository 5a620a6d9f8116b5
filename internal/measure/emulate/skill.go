package emulate

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// A date is forecast every hour of the day itself, and in the evening (19:00)
// and at dawn (05:00) of the days before. Runs number these, the newest first:
// run 0 at 23:00 of the date, run 18 at its dawn, run 24 the evening before, run
// 25 the dawn before that, and so on.
const (
	dawnLeadH    = 7  // hours from 05:00 to noon of the date
	eveningLeadH = 17 // from 19:00 the evening before
	hourlyRuns   = 24
	lastRun      = hourlyRuns + 24
)

// leadOfRun returns the hours from a run to noon of its date.
func leadOfRun(run int) float64 {
	if run < hourlyRuns {
		return float64(run - 11)
	}
	k := run - hourlyRuns
	lead := float64(k/2*24 + eveningLeadH)
	if k%2 == 1 {
		lead += 24 + dawnLeadH - eveningLeadH
	}
	return lead
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
	Skill float64 // Brier skill against the season's share, of 0.25 mm or more from 06 to 24 o'clock
}

// Targets are the skills of ordinary forecasts of rain against one gauge:
// recalibrated 50-member ensembles reach 0.49 at about one day (Frankfurt,
// 2007 to 2017), forecasters' own chances 0.22 at one day and none at two
// (Tampere, 2003); nothing is left after a week. In between: judgement.
var Targets = [...]Target{
	{dawnLeadH, 0.48},
	{eveningLeadH, 0.45},
	{eveningLeadH + 48, 0.25},
	{eveningLeadH + 144, 0.02},
}

// leastNoise keeps a signal from being nearer to one day than any two days of a
// record are to each other: weights that narrow would lean on one or two days and
// be too sure (judgement; the reliability reached is printed).
const leastNoise = 0.6

// Noise is the standard deviation of a region's signal noise, in the units of a
// description.
type Noise struct {
	knots [len(Targets)]float64    // at the leads of the targets, counted to the middle of a block
	by    [lastRun + 1]description // by run and block
}

// noiseOf returns the noise between its knots.
func noiseOf(knots [len(Targets)]float64) Noise {
	n := Noise{knots: knots}
	for run := range n.by {
		for b, span := range blocks {
			n.by[run][b] = max(leastNoise, n.at(leadOfRun(run)+float64(span[0]+span[1])/2-12))
		}
	}
	return n
}

// Leads shorter than dawn's: how far the noise has shrunk once a block is over,
// and how long after its middle that is (judgement).
const (
	overShare = 0.45
	overLeadH = -3.0
)

// at returns the noise at a lead in hours, which never falls with it.
func (n *Noise) at(leadH float64) float64 {
	if leadH < dawnLeadH {
		w := min(1, max(0, (leadH-overLeadH)/(dawnLeadH-overLeadH)))
		return n.knots[0] * (overShare + (1-overShare)*w)
	}
	for i := 1; i < len(n.knots); i++ {
		if a, b := Targets[i-1].LeadH, Targets[i].LeadH; leadH <= b {
			w := (leadH - a) / (b - a)
			return math.Exp(math.Log(n.knots[i-1])*(1-w) + math.Log(n.knots[i])*w)
		}
	}
	return n.knots[len(n.knots)-1]
}

// Warm days have showers, which are harder to foresee than fronts, most of all
// in the afternoon: by so much the noise of each block is greater on days whose
// mean air is above warmC (judgement).
var showery = description{1, 1, 1.15, 1.4, 1.25}

const warmC = 18.0

// sigma returns the noise of each block of day d as of a run.
func (s *Station) sigma(n *Noise, d, run int) description {
	out := n.by[run]
	air := s.airMean[d]
	if math.IsNaN(air) {
		air = s.airNorm[d]
	}
	if air > warmC {
		for b := range out {
			out[b] *= showery[b]
		}
	}
	return out
}

// shiftSD returns by how many hours rain is foreseen too early or too late, as a
// standard deviation, at a lead to noon in hours (judgement: some two hours at
// one day, four at three days).
func shiftSD(leadH float64) float64 {
	return min(4, max(0.7, 1.4+0.04*(leadH-dawnLeadH)))
}

// longestShift is by how many hours rain is displaced at most.
const longestShift = 6

// shifts are the displacements that a forecast allows for, as multiples of their
// standard deviation, and how likely each is.
var shifts = [...]struct{ by, share float64 }{{-1.5, 0.13}, {-0.75, 0.23}, {0, 0.28}, {0.75, 0.23}, {1.5, 0.13}}

func shiftHours(x float64) int {
	return int(math.Round(min(longestShift, max(-longestShift, x))))
}

// foldDays is the length of the blocks of days that constants are fitted on and
// scored on, by turns.
const foldDays = 28

func (s *Station) fitted(d int) bool { return s.DayOfYear(d)/foldDays%2 == 0 }

// FitNoise finds the noise at which the stations' forecasts have the target
// skills in every other block of 28 days, and returns what was reached there
// and in the other blocks.
func FitNoise(stations []*Station) (n Noise, fitted, held []Target) {
	knots := [len(Targets)]float64{0.8, 1, 2, 6}
	learn, test := sampleDays(stations, true), sampleDays(stations, false)
	const sweeps, halvings = 3, 9
	for range sweeps {
		for i, t := range Targets {
			lo, hi := math.Log(0.15), math.Log(12)
			if i > 0 {
				lo = math.Log(knots[i-1]) // noise only grows with lead
			}
			for range halvings {
				try := knots
				try[i] = math.Exp((lo + hi) / 2)
				for k := i + 1; k < len(try); k++ {
					try[k] = max(try[k], try[i])
				}
				n = noiseOf(try)
				if skillAt(learn, &n, runOf(t.LeadH)) > t.Skill {
					lo = math.Log(try[i])
				} else {
					hi = math.Log(try[i])
				}
			}
			knots[i] = math.Exp((lo + hi) / 2)
			for k := i + 1; k < len(knots); k++ {
				knots[k] = max(knots[k], knots[i])
			}
		}
	}
	n = noiseOf(knots)
	for _, t := range Targets {
		run := runOf(t.LeadH)
		fitted = append(fitted, Target{t.LeadH, skillAt(learn, &n, run)})
		held = append(held, Target{t.LeadH, skillAt(test, &n, run)})
	}
	return n, fitted, held
}

// dayAt is one day of one station.
type dayAt struct {
	s *Station
	d int
}

// sampleDays takes days of the pouring season evenly, from the blocks that
// constants are fitted on or from the others.
func sampleDays(stations []*Station, fit bool) (out []dayAt) {
	const most = 600
	for _, s := range stations {
		for d := range s.Days() {
			y := s.DayOfYear(d)
			if y >= seasonFirst && y <= seasonLast && s.whole[d] && len(s.season[d]) > 0 && s.fitted(d) == fit {
				out = append(out, dayAt{s, d})
			}
		}
	}
	if every := (len(out) + most - 1) / most; every > 1 {
		kept := out[:0]
		for i := 0; i < len(out); i += every {
			kept = append(kept, out[i])
		}
		out = kept
	}
	return out
}

// skillAt returns the Brier skill of the chances of a wet day as of a run.
func skillAt(days []dayAt, n *Noise, run int) float64 {
	var brier, climate float64
	var w []float64
	for _, x := range days {
		s, d := x.s, x.d
		f, _ := s.signal(n, d, run)
		w = s.weights(w[:0], n, d, run, f)
		var p, base float64
		for i, k := range s.season[d] {
			if o, day := s.peer(k); o.damp[day] {
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
	return 1 - brier/climate
}

// weights appends the weight of each day of d's season, given a signal: they
// sum to 1. Each may have been displaced by some hours, so that a day of the
// same rain at another hour counts too. Of a day that is not whole nothing is
// foreseen: equal weights.
func (s *Station) weights(w []float64, n *Noise, d, run int, signal description) []float64 {
	precision := s.sigma(n, d, run)
	for b, x := range precision {
		precision[b] = 1 / (2 * x * x)
	}
	sd := shiftSD(leadOfRun(run))
	sum := 0.0
	first := len(w)
	for _, k := range s.season[d] {
		o, day := s.peer(k)
		like := 0.0
		for _, x := range shifts {
			sq := 0.0
			z := &o.desc[day][longestShift+shiftHours(x.by*sd)]
			for b := range z {
				sq += (z[b] - signal[b]) * (z[b] - signal[b]) * precision[b]
			}
			like += x.share * math.Exp(-sq)
		}
		if !s.whole[d] {
			like = 1
		}
		w = append(w, like)
		sum += like
	}
	if sum < 1e-300 { // a signal unlike any day
		for i := range w[first:] {
			w[first+i], sum = 1, float64(len(w)-first)
		}
	}
	for i := range w[first:] {
		w[first+i] /= sum
	}
	return w
}

// sharedNoise is the share of the noise's variance that a region's stations have
// in common: what a model gets wrong it gets wrong for a whole area (judgement).
const sharedNoise = 0.6

// signal returns what run says of day d: the description of its rain, displaced
// by some hours, and noise, each one random walk per date, so that the newest run
// holds all there is. The displacement and most of the noise are those of the
// region.
func (s *Station) signal(n *Noise, d, run int) (description, float64) {
	day := uint64(s.dates[d].Year)*1000 + uint64(s.DayOfYear(d))
	own, shared := rand.New(rand.NewPCG(s.id, day)), rand.New(rand.NewPCG(s.shared, day))
	var noise, was description
	shift, air, shiftWas, airWas := 0.0, 0.0, 0.0, 0.0
	step := func(is, was float64) float64 { return math.Sqrt(max(0, is*is-was*was)) }
	for r := 0; r <= run; r++ {
		sd := s.sigma(n, d, r)
		for b := range noise {
			x := math.Sqrt(sharedNoise)*shared.NormFloat64() + math.Sqrt(1-sharedNoise)*own.NormFloat64()
			noise[b] += step(sd[b], was[b]) * x
		}
		lead := leadOfRun(r)
		e := shiftSD(lead)
		shift += step(e, shiftWas) * shared.NormFloat64()
		a := airNoise(lead)
		air += step(a, airWas) * own.NormFloat64()
		was, shiftWas, airWas = sd, e, a
	}
	f := s.desc[d][longestShift+shiftHours(shift)]
	for b := range f {
		f[b] += noise[b]
	}
	return f, air
}

// airNoise is how far a forecast of the day's mean air temperature errs, in K,
// at a lead to noon in hours (judgement: 0.8 K at dawn, 1 K the evening before,
// half a kelvin more for each further day).
func airNoise(leadH float64) float64 { return max(0.3, 0.8+0.02*(leadH-dawnLeadH)) }

func hash(s string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(s))
	return h.Sum64()
}
