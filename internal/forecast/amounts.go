package forecast

import (
	"math"
	"time"

	"dryslot/internal/unit"
)

// Amounts is the distribution of rain in a wet hour, more than 0.1 mm: a
// Weibull distribution, whose chance of exceeding x mm is exp(-(x/Scale)^Shape)
// over that of exceeding the threshold. A Weibull keeps its order: given wet,
// a larger scale never makes a quantile smaller.
type Amounts struct {
	Scale float64 // mm
	Shape float64
}

// scaled returns the distribution with every amount multiplied.
func (a Amounts) scaled(by float64) Amounts { return Amounts{a.Scale * by, a.Shape} }

// exceeded returns the amount that is exceeded with chance e, above 0 and not
// above 1, given that overMM is.
func (a Amounts) exceeded(e, overMM float64) float64 {
	return a.Scale * math.Pow(math.Pow(overMM/a.Scale, a.Shape)-math.Log(e), 1/a.Shape)
}

// Exceeds returns the chance that x is reached, given that overMM is.
func (a Amounts) Exceeds(x, overMM float64) float64 {
	if x <= overMM {
		return 1
	}
	return math.Exp(math.Pow(overMM/a.Scale, a.Shape) - math.Pow(x/a.Scale, a.Shape))
}

// mean returns the mean amount given that overMM is exceeded.
func (a Amounts) mean(overMM float64) float64 {
	const steps = 64
	sum := 0.0
	for i := range steps {
		sum += a.exceeded((float64(i)+0.5)/steps, overMM)
	}
	return sum / steps
}

// season returns 0 for winter to 3 for autumn, by the meteorological months.
func season(t time.Time, latitude float64) int {
	m := int(t.Month())
	if latitude < 0 {
		m += 6
	}
	return m % 12 / 3
}

// Clustering returns the correlation of a wet hour with the next one given a
// forecast of ordinary skill, at a latitude: the value fitted to emulated
// forecasts for New York and for Ireland, linear in latitude between the two
// and constant beyond. The climb of the two records is all that is known of
// other places.
func Clustering(latitude float64) float64 { return recordsAt(latitude).lag1 }

// records is what the station records tell of rain at one latitude.
type records struct {
	wet  [4]float64 // share of hours with more than 0.1 mm, by season from winter on
	rain [4]Amounts
	lag1 float64
}

func (r records) amounts(t time.Time, latitude float64) Amounts { return r.rain[season(t, latitude)] }

// recordsAt blends the two records by latitude: judgement, for want of more.
func recordsAt(latitude float64) records {
	a, b := newYorkRecords, irelandRecords
	w := (math.Abs(latitude) - newYorkLatitude) / (irelandLatitude - newYorkLatitude)
	w = min(1, max(0, w))
	mix := func(x, y float64) float64 { return x*(1-w) + y*w }
	r := records{lag1: mix(a.lag1, b.lag1)}
	for s := range r.rain {
		r.wet[s] = mix(a.wet[s], b.wet[s])
		r.rain[s] = Amounts{mix(a.rain[s].Scale, b.rain[s].Scale), mix(a.rain[s].Shape, b.rain[s].Shape)}
	}
	return r
}

// amountScale returns by how much the records' wet-hour amounts are multiplied
// where a run foresees an amount: towards that amount over the records' mean,
// the less the further ahead.
func amountScale(rain unit.Opt, wetMM float64, lead time.Duration, a Amounts) float64 {
	if !rain.Known {
		return 1
	}
	trust := amountTrust * math.Exp(-lead.Hours()/trustHours)
	ratio := max(rain.V, wetMM, 0.05) / a.mean(wetMM)
	return min(3, max(1/3.0, math.Pow(ratio, trust)))
}

// chanceFromAmount returns the chance of the wet event in hour i of a run that
// gives an amount and no chance: the more of the hours around it (three before
// to three after, nearer ones count more) are wet in the run, the likelier;
// the run's word fades into the records' share of wet hours with lead.
func chanceFromAmount(f *Forecast, i int, wetMM float64, lead time.Duration, rec records) float64 {
	var wetness, weight float64
	for d := -3; d <= 3; d++ {
		j := i + d
		if j < 0 || j >= len(f.Hours) || !f.Hours[j].Values[RainMM].Known {
			continue
		}
		w := 1 / (1 + math.Abs(float64(d)))
		weight += w
		if f.Hours[j].Values[RainMM].V > wetMM {
			wetness += w
		}
	}
	wetness /= weight
	base := rec.wet[season(f.Hours[i].Start, f.Cell.Latitude)]
	trust := math.Exp(-lead.Hours() / trustHours)
	sure := runDryChance*base + (runWetChance-runDryChance*base)*wetness
	return base + (sure-base)*trust
}
