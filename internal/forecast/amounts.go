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

// exceeds returns the chance that x is reached, given that overMM is.
func (a Amounts) exceeds(x, overMM float64) float64 {
	if x <= overMM {
		return 1
	}
	return math.Exp(math.Pow(overMM/a.Scale, a.Shape) - math.Pow(x/a.Scale, a.Shape))
}

// HeavyMM is the rain in an hour from which it is heavy here: what spoils a pad.
const HeavyMM = 2.5

// amountShape is the shape of all amounts. With it the shares of wet hours that
// reach 0.25 and 7.6 mm follow from that of HeavyMM, in Ireland as in Guangzhou.
const amountShape = 0.6

// AmountSigns is what a forecast says of an hour that tells how heavy its rain
// is, if it is wet.
type AmountSigns struct {
	Chance float64  // of the wet event, 0 to 1
	MM     unit.Opt // the feed's own amount
	DewC   unit.Opt // dew point: how much water the air can give
	Lead   time.Duration
}

// Features returns what the logarithm of -ln(share) is linear in, the share being
// that of heavy hours among the wet ones.
func (s AmountSigns) Features() [4]float64 {
	p := clamp(s.Chance, chanceFloor, 1-chanceFloor)
	x := [4]float64{1, math.Log(p / (1 - p)), 0, s.DewC.Or(usualDewC) / 10}
	if s.MM.Known {
		fade := math.Exp(-s.Lead.Hours() / amountTrustHours)
		x[2] = fade * math.Log(max(s.MM.V, leastAmountMM)/usualAmountMM)
	}
	return x
}

// Bounds on what is read into a sign, and what an unknown one counts as: the
// middle of the wet hours of the records.
const (
	chanceFloor   = 0.005
	leastAmountMM = 0.1
	usualAmountMM = 0.25
	usualDewC     = 14.0
	// amountTrustHours is the lead time, in hours, in which the weight of a run's own
	// amount falls to 1/e (judgement).
	amountTrustHours = 40
)

// Bounds on the logarithm of -ln(share): shares of 0.95 to 0.0001.
const leastHeavy, mostHeavy = -3, 2.2

// Amounts returns the distribution of rain in the hour, given that it is wet.
// here multiplies -ln(share), as learned of the place; 0: nothing was.
//
// The place's air decides more than anything else: warm wet air gives heavy rain
// at every latitude. The records show nothing else that carries from one region
// to another.
func (s AmountSigns) Amounts(here float64) Amounts {
	eta := 0.0
	for i, x := range s.Features() {
		eta += heavySigns[i] * x
	}
	rate := math.Exp(clamp(eta, leastHeavy, mostHeavy))
	if here > 0 {
		rate *= here
	}
	of := math.Pow(HeavyMM, amountShape) - math.Pow(DefaultWet.OverMM, amountShape)
	return Amounts{Scale: math.Pow(of/rate, 1/amountShape), Shape: amountShape}
}

// Heavy returns the share of heavy hours among the wet ones, before anything was
// learned of the place.
func (s AmountSigns) Heavy() float64 { return s.Amounts(0).exceeds(HeavyMM, DefaultWet.OverMM) }

// ScaleBetween returns by how much amounts are multiplied to turn one share of
// heavy hours among the wet ones into another; both above 0 and below 1.
func ScaleBetween(share, wanted float64) float64 {
	return math.Pow(math.Log(share)/math.Log(wanted), 1/amountShape)
}

// signsOf returns an hour's signs, given the chance that it is wet.
func (f *Forecast) signsOf(i int, chance float64) AmountSigns {
	h := &f.Hours[i]
	s := AmountSigns{Chance: chance, MM: h.Values[RainMM], DewC: h.Values[DewPointC], Lead: f.lead(h.Start)}
	if air, pct := h.Values[AirC], h.Values[HumidityPct]; !s.DewC.Known && air.Known && pct.Known {
		s.DewC = DewPointOf(air.V, pct.V)
	}
	return s
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

// latentSteps is how many latent correlations the records hold.
const latentSteps = 9

// latentAt are those correlations, from hour to hour.
var latentAt = [latentSteps]float64{0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95}

//go:generate sh -c "cd ../.. && go run ./internal/measure/emulate/run -what records -o internal/forecast/records.go"

// records is what the station records show of rain at one latitude, by season
// from winter on.
type records struct {
	latitude float64
	wet      [4]float64              // share of hours with more than 0.1 mm
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

// recordsAt blends the two records by latitude.
func recordsAt(latitude float64) records {
	a, b := newyorkRecords, irelandRecords
	w := clamp((math.Abs(latitude)-a.latitude)/(b.latitude-a.latitude), 0, 1)
	mix := func(x, y float64) float64 { return x*(1-w) + y*w }
	r := records{latitude: latitude}
	for s := range r.wet {
		r.wet[s], r.lag1[s] = mix(a.wet[s], b.wet[s]), mix(a.lag1[s], b.lag1[s])
		for i := range r.reached[s] {
			r.reached[s][i] = mix(a.reached[s][i], b.reached[s][i])
		}
	}
	return r
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
