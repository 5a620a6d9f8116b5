package forecast

import (
	"math"
	"time"
)

// Recalibration corrects stated chances of rain by what came of them, by lead
// time: a shift and a slope of their log odds, and a share of the chances that
// tell nothing. The zero value believes every chance as it is.
type Recalibration struct {
	Bands []Band // ascending by UpTo
	// Heavy is how much -ln of the share of heavy hours among the wet ones is
	// multiplied here, as learned of the place; 0: nothing was.
	Heavy float64 `json:",omitempty"`
	// Amounts is how rain follows from a run's amount here; its zero value:
	// nothing was learned.
	Amounts AmountFit `json:",omitzero"`
}

// amounts returns Amounts, as stated without a correction.
func (r *Recalibration) amounts() AmountFit {
	if r == nil || r.Amounts == (AmountFit{}) {
		return StatedAmounts()
	}
	return r.Amounts
}

// heavyHere returns Heavy, 0 without a correction.
func (r *Recalibration) heavyHere() float64 {
	if r == nil {
		return 0
	}
	return r.Heavy
}

// Band is the correction of chances stated up to a lead.
type Band struct {
	UpTo  time.Duration
	On    bool    // false: chances are believed as they are
	Shift float64 // added to the log odds
	Slope float64 // multiplies the log odds before; above 0
	Miss  float64 // share of chances that tell nothing, 0 to 1: there the share of wet hours holds
	Base  float64 // that share
}

// apply corrects the log odds of a stated chance.
func (b *Band) apply(x float64) float64 { return b.mix(logistic(b.Shift + b.Slope*x)) }

// mix lets a share of the chances tell nothing.
func (b *Band) mix(l float64) float64 { return b.Miss*b.Base + (1-b.Miss)*l }

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

// missSD is what is believed of the share of chances that tell nothing before
// pairs are seen: one side of a bell about 0 (judgement).
const missSD = 0.1
