package forecast

import (
	"math"
	"time"
)

// Recalibration corrects stated chances of rain by what came of them, by lead
// time: a shift and a slope of their log odds, another slope where they are
// high, and a share of the chances that tell nothing. The zero value believes
// every chance as it is.
type Recalibration struct {
	Bands []Band // ascending by UpTo
}

// Band is the correction of chances stated up to a lead.
type Band struct {
	UpTo  time.Duration
	On    bool    // false: chances are believed as they are
	Shift float64 // added to the log odds
	Slope float64 // multiplies the log odds before; above 0
	Bend  float64 // added to the slope where chances are high; not below -Slope
	Miss  float64 // share of chances that tell nothing, 0 to 1: there the share of wet hours holds
	Base  float64 // that share
}

// apply corrects the log odds of a stated chance. With a bend this is the beta
// calibration of Kull, Silva Filho and Flach (2017): log odds of
// a ln p - b ln(1-p) + c, with a the slope, b the slope and the bend, c the
// shift.
func (b *Band) apply(x float64) float64 { return b.mix(logistic(b.Shift + b.Slope*x + b.Bend*high(x))) }

// mix lets a share of the chances tell nothing.
func (b *Band) mix(l float64) float64 { return b.Miss*b.Base + (1-b.Miss)*l }

// high returns -ln(1-p) of a chance p, given its log odds: nothing where it is
// low, the log odds where it is high.
func high(x float64) float64 {
	if x > 0 {
		return x + math.Log1p(math.Exp(-x))
	}
	return math.Log1p(math.Exp(x))
}

// oddsOf returns the log odds of a stated chance, kept finite.
func oddsOf(chance float64) float64 { return logit(clamp(chance, oddsFloor, 1-oddsFloor)) }

// oddsFloor keeps the log odds finite: a stated 0 reads as one in a thousand, a
// stated 1 likewise.
const oddsFloor = 0.001

// Apply returns the corrected chance of a stated one, 0 to 1, at a lead. Its
// order is kept. Beyond the last band that band's correction holds.
func (r *Recalibration) Apply(chance float64, lead time.Duration) float64 {
	if r == nil || len(r.Bands) == 0 {
		return chance
	}
	b := &r.Bands[len(r.Bands)-1]
	for i := range r.Bands {
		if lead <= r.Bands[i].UpTo {
			b = &r.Bands[i]
			break
		}
	}
	if !b.On {
		return chance
	}
	return b.apply(oddsOf(chance))
}

func logit(p float64) float64    { return math.Log(p / (1 - p)) }
func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// PriorEnsemble is the correction of raw member fractions before anything has
// been learned at a place. They see far too much drizzle: against one gauge
// over 3,617 days a 50-member ensemble had a Brier skill of 0.13 raw and of
// 0.49 once corrected by bins, at about one day. For days, a shift of the log
// odds by -2 makes that difference (TestPriorEnsembleFromThePublishedSkills).
// Half of it is taken for hours: sharing out the blocks has dried some of them
// already, and a chance stated too low costs pads (judgement).
func PriorEnsemble() *Recalibration {
	return &Recalibration{Bands: []Band{{UpTo: 16 * 24 * time.Hour, On: true, Shift: priorEnsembleShift, Slope: 1}}}
}

const (
	dailyEnsembleShift = -2
	priorEnsembleShift = dailyEnsembleShift / 2
)

// Prior is what is believed of a band before its pairs are seen: shift and
// slope, each with its standard deviation.
type Prior struct {
	Shift, ShiftSD float64
	Slope, SlopeSD float64
}

// PriorRun is the prior for a feed that states chances: they are right, give
// or take (judgement: a shift of 0.5 turns 30 % into 41 %).
func PriorRun() Prior { return Prior{Shift: 0, ShiftSD: 0.5, Slope: 1, SlopeSD: 0.25} }

// PriorMembers is the prior for raw member fractions.
func PriorMembers() Prior {
	return Prior{Shift: priorEnsembleShift, ShiftSD: 0.7, Slope: 1, SlopeSD: 0.25}
}

// independentShare is how many independent pairs one hourly pair counts for:
// (1-r)/(1+r) with the lag-1 correlation r = 0.4 of wet hours given a forecast.
const independentShare = 0.43

// BandReport is how one band was learned: scores on pairs that it did not see.
type BandReport struct {
	Band
	Pairs     int   // all of the band
	Held      int   // of them, scored
	Raw       Score // stated chances, on the held-back pairs
	Corrected Score // corrected chances, on the same
	Fit       Band  // what was fitted, whether it is used or not
}

// Learn fits a correction to each band of leads, given ascending, from pairs
// of stated chance and outcome. The days are cut into weeks, and every week is
// scored by a fit to the weeks of the other parity; the band is switched on
// only where that lowers the Brier score. Pairs of unknown chance or outcome
// do not belong here.
func Learn(pairs []Pair, bands []time.Duration, prior Prior) (*Recalibration, []BandReport) {
	cal := &Recalibration{}
	var reports []BandReport
	from := time.Duration(-1)
	for _, upTo := range bands {
		var part [2][]Pair
		var all []Pair
		for _, p := range pairs {
			if p.Lead > from && p.Lead <= upTo {
				week := p.Target.Unix() / (7 * 24 * 3600)
				part[week&1] = append(part[week&1], p)
				all = append(all, p)
			}
		}
		from = upTo
		rep := BandReport{Band: Band{UpTo: upTo, Slope: 1}, Pairs: len(all), Fit: Band{UpTo: upTo, Slope: 1}}
		if len(part[0]) > 0 && len(part[1]) > 0 {
			rep = learnBand(rep, all, part, prior)
		}
		cal.Bands = append(cal.Bands, rep.Band)
		reports = append(reports, rep)
	}
	return cal, reports
}

func learnBand(rep BandReport, all []Pair, part [2][]Pair, prior Prior) BandReport {
	var raw, corrected []Pair
	for i := range part {
		b := fitBand(part[1-i], prior)
		for _, p := range part[i] {
			raw = append(raw, p)
			p.Chance = b.apply(oddsOf(p.Chance))
			corrected = append(corrected, p)
		}
	}
	rep.Held, rep.Raw, rep.Corrected = len(raw), ScoreOf(raw), ScoreOf(corrected)
	rep.Fit = fitBand(all, prior)
	rep.Fit.UpTo, rep.Fit.On = rep.UpTo, rep.Corrected.Brier < rep.Raw.Brier
	if rep.Fit.On {
		rep.Band = rep.Fit
	}
	return rep
}

// missSD is what is believed of the share of chances that tell nothing before
// pairs are seen: one side of a bell about 0 (judgement).
const missSD = 0.1

// bendSD is what is believed of the bend before pairs are seen (judgement: as
// of the slope).
const bendSD = 0.25

// fitBand returns the correction of greatest posterior density.
func fitBand(pairs []Pair, prior Prior) Band {
	at, base := gather(pairs)
	best, least := Band{Shift: prior.Shift, Slope: prior.Slope}, math.Inf(1)
	for miss := 0.0; miss <= 0.3; miss += 0.02 {
		b := Band{Shift: prior.Shift, Slope: prior.Slope, Miss: miss, Base: base}
		b.fitOdds(at, prior)
		if m := minusPosterior(at, &b, prior); m < least {
			best, least = b, m
		}
	}
	return best
}

// heap is the pairs stated at about one chance.
type heap struct{ odds, pairs, wet float64 }

// gather joins pairs whose log odds differ by less than 0.05, which changes no
// chance by more than a hundredth, and returns the share of wet ones.
func gather(pairs []Pair) (at []heap, base float64) {
	const per = 20
	sums := map[int]*heap{}
	for _, p := range pairs {
		x := oddsOf(p.Chance)
		k := int(math.Round(x * per))
		s, ok := sums[k]
		if !ok {
			s = &heap{}
			sums[k] = s
		}
		s.pairs++
		s.odds += x
		if p.Wet {
			s.wet++
			base++
		}
	}
	for k := int(math.Floor(per * logit(oddsFloor))); len(at) < len(sums); k++ { // in order, so that sums come out alike
		if s, ok := sums[k]; ok {
			at = append(at, heap{s.odds / s.pairs, s.pairs, s.wet})
		}
	}
	return at, base / float64(len(pairs))
}

func minusPosterior(at []heap, b *Band, prior Prior) float64 {
	sq := func(x float64) float64 { return x * x / 2 }
	m := sq((b.Shift-prior.Shift)/prior.ShiftSD) + sq((b.Slope-prior.Slope)/prior.SlopeSD) + sq(b.Bend/bendSD) + sq(b.Miss/missSD)
	for _, p := range at {
		q := b.apply(p.odds)
		m -= independentShare * (p.wet*math.Log(q) + (p.pairs-p.wet)*math.Log(1-q))
	}
	return m
}

// leastSlope keeps a correction from turning the order of chances round.
const leastSlope = 0.05

// fitOdds sets the shift, slope and bend of greatest posterior density for its
// share of chances that tell nothing, by Fisher's scoring.
func (b *Band) fitOdds(at []heap, prior Prior) {
	mean := [3]float64{prior.Shift, prior.Slope, 0}
	weight := [3]float64{1 / (prior.ShiftSD * prior.ShiftSD), 1 / (prior.SlopeSD * prior.SlopeSD), 1 / (bendSD * bendSD)}
	now := [3]float64{b.Shift, b.Slope, b.Bend}
	const most, close = 50, 1e-8
	for range most {
		var g [3]float64
		var h [3][3]float64
		for i := range g {
			g[i], h[i][i] = weight[i]*(mean[i]-now[i]), weight[i]
		}
		for _, p := range at {
			x := [3]float64{1, p.odds, high(p.odds)}
			l := logistic(now[0] + now[1]*x[1] + now[2]*x[2])
			q, dq := b.mix(l), (1-b.Miss)*l*(1-l)
			d := independentShare * (p.wet - p.pairs*q) / (q * (1 - q)) * dq
			v := independentShare * p.pairs * dq * dq / (q * (1 - q))
			for i := range g {
				g[i] += d * x[i]
				for j := range g {
					h[i][j] += v * x[i] * x[j]
				}
			}
		}
		step := solve(h, g)
		moved := 0.0
		for i := range now {
			now[i] += step[i]
			moved += math.Abs(step[i])
		}
		now[1] = max(leastSlope, now[1])
		now[2] = max(leastSlope-now[1], now[2])
		if moved < close {
			break
		}
	}
	b.Shift, b.Slope, b.Bend = now[0], now[1], now[2]
}

// solve returns the solution of three equations whose matrix is positive
// definite, so that no pivot is 0.
func solve(h [3][3]float64, g [3]float64) [3]float64 {
	for i := range g {
		for j := i + 1; j < len(g); j++ {
			r := h[j][i] / h[i][i]
			for k := i; k < len(g); k++ {
				h[j][k] -= r * h[i][k]
			}
			g[j] -= r * g[i]
		}
	}
	for i := len(g) - 1; i >= 0; i-- {
		for k := i + 1; k < len(g); k++ {
			g[i] -= h[i][k] * g[k]
		}
		g[i] /= h[i][i]
	}
	return g
}
