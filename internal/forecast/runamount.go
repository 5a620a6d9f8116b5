package forecast

import (
	"math"
	"time"

	"dryslot/internal/unit"
)

// AmountFit is how the rain of a wet hour follows from the amount that a run
// gives about it (see amountAbout): its logarithm (mm) is Shift + Slope times that of
// the amount, with a normal error whose standard deviation is Spread. That errors of
// rain are multiplicative is found for gauges against satellites (Tian and others
// 2013, Geophysical Research Letters 40:2060) and against dense networks at 1 mm in an
// hour and more (McMillan and others 2011, Journal of Hydrology 400:83). What the
// normal distribution has at or below the wet threshold is no wet hour: that part is
// cut off, in learning as in drawing.
type AmountFit struct {
	Shift, Slope, Spread float64
	// Unsaid is the chance of rain of which the amount says nothing, 0 to
	// unsaidShare: less the more wet hours Spread was learned from, since those
	// hours are among them.
	Unsaid float64 `json:",omitempty"`
}

// StatedAmounts is the fit before anything was learned of a place: the amount is
// right to a factor of 2.3 either way in two hours of three. Judgement: neither
// source gives hourly forecasts against one gauge, and what is learned corrects it.
// Emulated forecasts are foreseen still better with a greater error, but drizzle
// that is certain all day must stay drizzle.
func StatedAmounts() AmountFit { return AmountFit{Slope: 1, Spread: 0.85, Unsaid: unsaidShare} }

// A wet hour's rain where a run's amount has lost its worth: the mean of its
// logarithm and the standard deviation, near those of all records of
// testdata/weather. An amount keeps exp(-(lead/amountFadeHours)^3) of its worth:
// nearly all for two days, half after four (judgement).
const (
	usualLogMM      = 0.0
	usualSpread     = 1.1
	amountFadeHours = 120.0
)

// unsaidShare is the chance of rain of which a run's amount says nothing before
// anything was learned: so much of the hour's chance, at most, has the amounts of the
// records where those are heavier, such as a shower where the run has drizzle
// (judgement). It is small and the same at every chance and amount so that a higher
// one never dries an hour in any member; a greater one makes puddles of certain drizzle.
const unsaidShare = 0.05

// aboutWeights weigh a run's amounts by how far they lie from an hour, from none to
// three hours (judgement): rain comes earlier or later than a run has it, so that an
// hour which it has dry between wet ones brings no drizzle where it is wet. That the
// neighbouring hours of a single run say what may come is the neighbourhood method
// (Theis and others 2005, Meteorological Applications 12:257; from memory).
//
// Of emulated forecasts (5,000 wet hours of eight regions, blocks that nothing is
// fitted on) the mean log score of lighter than 0.25 mm, lighter than 2.5 mm or
// heavier is 1.11 by the hour's own amount, which is 0 in four wet hours of ten, and
// 0.84 so.
var aboutWeights = [...]float64{4, 3, 2, 1}

// amountAbout returns a run's mean amount about an hour, mm; unknown where the hour's
// own is. More rain in any hour never makes it less.
func (f *Forecast) amountAbout(i int) unit.Opt {
	own := f.Hours[i].Values[RainMM]
	if !own.Known {
		return own
	}
	sum, weights := 0.0, 0.0
	const most = len(aboutWeights) - 1
	for j := max(0, i-most); j <= min(len(f.Hours)-1, i+most); j++ {
		if mm := f.Hours[j].Values[RainMM]; mm.Known {
			w := aboutWeights[max(i-j, j-i)]
			sum, weights = sum+w*mm.V, weights+w
		}
	}
	return unit.Some(sum / weights)
}

// runAmount is the distribution of a wet hour's rain as a run's amount has it.
type runAmount struct {
	told         bool
	mean, spread float64 // of the logarithm
	unsaid       float64 // as AmountFit.Unsaid
}

// runAmount returns what an amount says of its hour. What is not rain counts as
// the least that is.
func (a AmountFit) of(mm unit.Opt, lead time.Duration) runAmount {
	if !mm.Known {
		return runAmount{}
	}
	worth := math.Exp(-math.Pow(lead.Hours()/amountFadeHours, 3))
	says := a.Shift + a.Slope*math.Log(max(mm.V, leastAmountMM))
	return runAmount{
		told:   true,
		mean:   worth*says + (1-worth)*usualLogMM,
		spread: math.Sqrt(worth*worth*a.Spread*a.Spread + (1-worth*worth)*usualSpread*usualSpread),
		unsaid: a.Unsaid,
	}
}

// quantiles returns the k amounts that are exceeded with chances (i+0.5)/k given
// that overMM is, the heaviest first.
func (r runAmount) quantiles(k int, overMM float64, out []float64) []float64 {
	wet := 1.0 // chance of more than overMM
	if overMM > 0 {
		wet = math.Erfc((math.Log(overMM)-r.mean)/r.spread/math.Sqrt2) / 2
	}
	out = out[:0]
	for i := range k {
		e := max(wet*(float64(i)+0.5)/float64(k), math.SmallestNonzeroFloat32)
		mm := math.Exp(r.mean + r.spread*math.Sqrt2*math.Erfcinv(2*e))
		out = append(out, max(mm, math.Nextafter(overMM, 1)))
	}
	return out
}

// rain fills an hour's amounts in k wet members of m, the heaviest first. Where
// the run gives an amount they follow it, but for the share of members of which it
// says nothing.
func (w *wish) rain(k, m int, overMM float64, out, spare []float64) (mm, used []float64) {
	if !w.run.told {
		return w.amounts.quantiles(k, overMM, out), spare
	}
	out = w.run.quantiles(k, overMM, out)
	spare = w.amounts.quantiles(min(k, roundChance(w.run.unsaid, m)), overMM, spare)
	for i, x := range spare {
		out[i] = max(out[i], x)
	}
	return out, spare
}
