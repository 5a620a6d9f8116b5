package forecast

import (
	"math"
	"time"
)

// Recalibration corrects stated chances of rain by what came of them, by lead
// time: a shift and a slope of their log odds. The zero value believes every
// chance as it is.
type Recalibration struct {
	Bands []Band // ascending by UpTo
}

// Band is the correction of chances stated up to a lead.
type Band struct {
	UpTo  time.Duration
	On    bool    // false: chances are believed as they are
	Shift float64 // added to the log odds
	Slope float64 // multiplies the log odds before; above 0
}

// oddsFloor keeps the log odds finite: a stated 0 reads as a half in a
// hundred, a stated 1 likewise.
const oddsFloor = 0.005

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
	return logistic(b.Shift + b.Slope*logit(clamp(chance, oddsFloor, 1-oddsFloor)))
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
	Pairs     int     // all of the band
	Held      int     // of them, scored
	Raw       Score   // stated chances, on the held-back pairs
	Corrected Score   // corrected chances, on the same
	FitShift  float64 // what was fitted, whether it is used or not
	FitSlope  float64
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
		rep := BandReport{Band: Band{UpTo: upTo, Shift: 0, Slope: 1}, Pairs: len(all), FitSlope: 1}
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
		shift, slope := fitOdds(part[1-i], prior)
		cal := Recalibration{Bands: []Band{{UpTo: rep.UpTo, On: true, Shift: shift, Slope: slope}}}
		for _, p := range part[i] {
			raw = append(raw, p)
			p.Chance = cal.Apply(p.Chance, p.Lead)
			corrected = append(corrected, p)
		}
	}
	rep.Held, rep.Raw, rep.Corrected = len(raw), ScoreOf(raw), ScoreOf(corrected)
	rep.FitShift, rep.FitSlope = fitOdds(all, prior)
	if rep.Corrected.Brier < rep.Raw.Brier {
		rep.On, rep.Shift, rep.Slope = true, rep.FitShift, rep.FitSlope
	}
	return rep
}

// fitOdds returns the shift and slope of greatest posterior density, by
// Newton's method on a concave function.
func fitOdds(pairs []Pair, prior Prior) (shift, slope float64) {
	shift, slope = prior.Shift, prior.Slope
	const most, close = 30, 1e-9
	for range most {
		wa, wb := 1/(prior.ShiftSD*prior.ShiftSD), 1/(prior.SlopeSD*prior.SlopeSD)
		ga, gb := wa*(prior.Shift-shift), wb*(prior.Slope-slope)
		haa, hab, hbb := wa, 0.0, wb
		for _, p := range pairs {
			x := logit(clamp(p.Chance, oddsFloor, 1-oddsFloor))
			q := logistic(shift + slope*x)
			d := -q
			if p.Wet {
				d++
			}
			v := q * (1 - q) * independentShare
			d *= independentShare
			ga, gb = ga+d, gb+d*x
			haa, hab, hbb = haa+v, hab+v*x, hbb+v*x*x
		}
		det := haa*hbb - hab*hab
		da, db := (ga*hbb-gb*hab)/det, (gb*haa-ga*hab)/det
		shift, slope = shift+da, max(0.05, slope+db)
		if math.Abs(da)+math.Abs(db) < close {
			break
		}
	}
	return shift, slope
}
