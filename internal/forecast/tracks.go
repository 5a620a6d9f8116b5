package forecast

import (
	"math"
	"time"
)

// How far a run's dry weather goes wrong, as the standard deviation at a lead
// of d days. Judgement: screen temperatures err by 1 to 2 K on the first day
// and by the spread of the season after ten; the other variables likewise.
func airErrorK(d float64) float64        { return min(4.5, 1.2+0.33*d) }
func humidityErrorPct(d float64) float64 { return min(16, 7+d) }
func windErrorShare(d float64) float64   { return min(0.45, 0.2+0.03*d) }
func cloudErrorPct(d float64) float64    { return min(35, 15+3*d) }

// errorCorrelation is that of an error with itself an hour later (judgement:
// an error of the air mass lasts for about a day).
const errorCorrelation = 0.96

// tracksOf returns the dry weathers that the members of one run share. Tracks
// come in pairs of opposite errors, so that together they keep the run's
// values; a last unpaired track is the run itself. Errors are seeded as the
// rain is. Unknown values stay unknown.
func tracksOf(f *Forecast, tracks int) []Weather {
	out := make([]Weather, tracks)
	errs := errorsOf(f, (tracks)/2)
	for t := range out {
		sign := float64(1 - t%2*2)
		var e [][4]float64
		if t/2 < len(errs) {
			e = errs[t/2]
		}
		out[t] = trackOf(f, e, sign)
	}
	return out
}

func trackOf(f *Forecast, errs [][4]float64, sign float64) Weather {
	n := len(f.Hours)
	flat := make([]float64, 5*n)
	w := Weather{AirC: flat[:n:n], HumidityPct: flat[n : 2*n : 2*n], WindMS: flat[2*n : 3*n : 3*n],
		CloudPct: flat[3*n : 4*n : 4*n], ShortwaveWM2: flat[4*n:]}
	for h := range n {
		v := &f.Hours[h].Values
		var e [4]float64
		if errs != nil {
			d := f.lead(f.Hours[h].Start).Hours() / 24
			e = [4]float64{sign * errs[h][0] * airErrorK(d), sign * errs[h][1] * humidityErrorPct(d),
				sign * errs[h][2] * windErrorShare(d), sign * errs[h][3] * cloudErrorPct(d)}
		}
		cloud := clamp(v[CloudPct].Float()+e[3], 0, 100)
		w.AirC[h] = v[AirC].Float() + e[0]
		w.HumidityPct[h] = clamp(v[HumidityPct].Float()+e[1], 1, 100)
		w.WindMS[h] = v[WindMS].Float() * math.Exp(e[2])
		w.CloudPct[h] = cloud
		w.ShortwaveWM2[h] = v[ShortwaveWM2].Float()
		if v[CloudPct].Known {
			w.ShortwaveWM2[h] *= clamp(throughCloud(cloud)/throughCloud(v[CloudPct].V), 0.4, 2.5)
		}
	}
	return w
}

// throughCloud returns the share of the clear sky's sunshine that a cloud
// cover in percent lets through: 1 - 0.75 n^3.4 (Kasten and Czeplak, Solar
// Energy 24, 1980; coefficients from memory).
func throughCloud(pct float64) float64 { return 1 - 0.75*math.Pow(pct/100, 3.4) }

// clamp keeps v within bounds; NaN stays NaN.
func clamp(v, lo, hi float64) float64 {
	switch {
	case v < lo:
		return lo
	case v > hi:
		return hi
	}
	return v
}

// errorsOf returns standard normal errors of air, humidity, wind and cloud for
// each pair of tracks. Humidity errs against temperature: warmer is drier.
func errorsOf(f *Forecast, pairs int) [][][4]float64 {
	n := len(f.Hours)
	out := make([][][4]float64, pairs)
	for p := range out {
		out[p] = make([][4]float64, n)
	}
	fresh := math.Sqrt(1 - errorCorrelation*errorCorrelation)
	state := make([][4]float64, pairs)
	start := f.Hours[0].Start.UTC()
	day := start.Truncate(24*time.Hour).AddDate(0, 0, -warmUpDays)
	for h := int(day.Sub(start) / time.Hour); h < n; day = day.AddDate(0, 0, 1) {
		rnd := seedFor(f.Cell, day, "track")
		for range 24 {
			for p := range state {
				for k := range state[p] {
					state[p][k] = errorCorrelation*state[p][k] + fresh*rnd.NormFloat64()
				}
				if h >= 0 && h < n {
					e := state[p]
					e[1] = -0.6*e[0] + 0.8*e[1]
					out[p][h] = e
				}
			}
			h++
		}
	}
	return out
}
