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

// quantiles returns the k amounts that are exceeded with chances (i+0.5)/k
// given that overMM is, the heaviest first.
func (a Amounts) quantiles(k int, overMM float64, out []float64) []float64 {
	base := math.Pow(overMM/a.Scale, a.Shape)
	out = out[:0]
	for i := range k {
		e := (float64(i) + 0.5) / float64(k)
		out = append(out, a.Scale*math.Pow(base-math.Log(e), 1/a.Shape))
	}
	return out
}

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
// forecast, at a latitude at an instant foreseen so long before: fitted to
// emulated forecasts for New York and for Ireland by season and lead, linear in
// latitude between the two and constant beyond (judgement: the two records are
// all that is known here of other places).
func Clustering(latitude float64, at time.Time, lead time.Duration) float64 {
	return recordsAt(latitude).lag1[season(at, latitude)] * clusterGrowth(lead)
}

// clusterGrowth is how the correlation grows with lead, against that of
// forecasts of one to three days together, in both records alike: the less is
// foreseen, the nearer it comes to that of the record itself.
func clusterGrowth(lead time.Duration) float64 {
	at := [...]float64{17, 41, 65, 113, 161} // hours
	growth := [...]float64{0.86, 0.99, 1.15, 1.36, 1.44}
	h := lead.Hours()
	for i := 1; i < len(at); i++ {
		if h <= at[i] {
			w := max(0, (h-at[i-1])/(at[i]-at[i-1]))
			return growth[i-1]*(1-w) + growth[i]*w
		}
	}
	return growth[len(growth)-1]
}

// latentSteps is how many latent correlations the records tell of.
const latentSteps = 9

// latentAt are those correlations, from hour to hour.
var latentAt = [latentSteps]float64{0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95}

// records is what the station records tell of rain at one latitude, by season
// from winter on.
type records struct {
	latitude float64
	wet      [4]float64 // share of hours with more than 0.1 mm
	rain     [4]Amounts
	tilt     [2]float64              // logarithm of the scale of amounts: at a chance of 0, and more at a chance of 1
	lag1     [4]float64              // correlation of wet hours given a forecast
	reached  [4][latentSteps]float64 // that correlation where the fast latent series has latentAt's
}

// latent returns the latent correlation that reaches a correlation of wet
// hours in a season, at most 0.95.
func (r records) latent(season int, lag1 float64) float64 {
	reached := &r.reached[season]
	for i := 1; i < latentSteps; i++ {
		if a, b := reached[i-1], reached[i]; lag1 <= b {
			w := clamp((lag1-a)/(b-a), 0, 1)
			return latentAt[i-1] + w*(latentAt[i]-latentAt[i-1])
		}
	}
	return latentAt[latentSteps-1]
}

func (r records) amounts(t time.Time, latitude float64) Amounts { return r.rain[season(t, latitude)] }

// likelier returns by how much amounts are multiplied where the wet event has a
// chance: rain that is likely is heavier rain.
func (r records) likelier(chance float64) float64 { return math.Exp(r.tilt[0] + r.tilt[1]*chance) }

// recordsAt blends the two records by latitude.
func recordsAt(latitude float64) records {
	a, b := newyorkRecords, irelandRecords
	w := clamp((math.Abs(latitude)-a.latitude)/(b.latitude-a.latitude), 0, 1)
	mix := func(x, y float64) float64 { return x*(1-w) + y*w }
	r := records{latitude: latitude, tilt: [2]float64{mix(a.tilt[0], b.tilt[0]), mix(a.tilt[1], b.tilt[1])}}
	for s := range r.rain {
		r.wet[s], r.lag1[s] = mix(a.wet[s], b.wet[s]), mix(a.lag1[s], b.lag1[s])
		r.rain[s] = Amounts{mix(a.rain[s].Scale, b.rain[s].Scale), mix(a.rain[s].Shape, b.rain[s].Shape)}
		for i := range r.reached[s] {
			r.reached[s][i] = mix(a.reached[s][i], b.reached[s][i])
		}
	}
	return r
}

// How far a run's own amount is to be trusted, fitted to emulated forecasts: a
// foreseen amount says little of the amount in the hour, and nothing after
// some days.
const (
	amountTrust      = 0.15
	amountTrustHours = 40
)

// ScaleFor returns by how much the records' wet-hour amounts are multiplied
// where a run foresees an amount: towards that amount over the records' mean,
// the less the further ahead.
func ScaleFor(rain unit.Opt, wetMM float64, lead time.Duration, a Amounts) float64 {
	if !rain.Known {
		return 1
	}
	trust := amountTrust * math.Exp(-lead.Hours()/amountTrustHours)
	ratio := max(rain.V, wetMM, 0.05) / a.mean(wetMM)
	return min(3, max(1/3.0, math.Pow(ratio, trust)))
}

// What a run that gives amounts alone is worth, fitted to emulated forecasts:
// the chance of a wet hour in the midst of wet ones, that in the midst of dry
// ones against the season's share, and how these fade with lead.
const (
	runWetChance  = 0.70
	runDryShare   = 0.33
	runFadeHours  = 85
	runNearnesses = 0.75 // exponent of the share of wet hours nearby
)

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
	base := rec.wet[season(f.Hours[i].Start, f.Cell.Latitude)]
	dry := runDryShare * base
	sure := dry + (runWetChance-dry)*math.Pow(wetness/weight, runNearnesses)
	trust := math.Exp(-math.Pow(lead.Hours()/runFadeHours, 2))
	return base + (sure-base)*trust
}

// WetHour returns the distribution of rain in a wet hour at a latitude, in the
// season of t.
func WetHour(latitude float64, t time.Time) Amounts {
	return recordsAt(latitude).amounts(t, latitude)
}
