package forecast

import (
	"math"
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/unit"
)

// HumidityOf returns the relative humidity in percent, over water, of air at
// airC whose dew point is dewC, both in C. It is the quotient of two vapour
// pressures by the Magnus form with the constants of Alduchov and Eskridge
// (1996), Journal of Applied Meteorology 35, 601-609, within 0.4 % of theirs
// from -40 to 50 C. A dew point above the air, as rounding makes it, gives 100;
// one more than 1 K above contradicts the air, and the humidity is unknown.
func HumidityOf(airC, dewC float64) unit.Opt {
	const roundingK = 1 // both are often given in whole degrees
	if dewC > airC+roundingK {
		return unit.Opt{}
	}
	return unit.Some(math.Min(100, 100*math.Exp(magnus(dewC)-magnus(airC))))
}

// DewPointOf returns the dew point in C of air at airC with that relative
// humidity in percent, by the inverse of the same form. Humidity of 0 or less
// has none.
func DewPointOf(airC, humidityPct float64) unit.Opt {
	if humidityPct <= 0 {
		return unit.Opt{}
	}
	g := math.Log(math.Min(humidityPct, 100)/100) + magnus(airC)
	return unit.Some(magnusB * g / (magnusA - g))
}

// The constants of the Magnus form (Alduchov and Eskridge 1996, equation 21).
const (
	magnusA = 17.625
	magnusB = 243.04 // C
)

func magnus(c float64) float64 { return magnusA * c / (magnusB + c) }

// ClearSky returns the radiation in W/m2 on the level under a clear sky with
// the sun at that height in degrees above the horizon: Haurwitz (1945), Journal
// of Meteorology 2, 154-166, with the constants as Reno, Hansen and Stein
// (2012), SAND2012-2389, and pvlib have them. They found it the best of the
// models that need the sun's height alone.
func ClearSky(heightDeg float64) float64 {
	s := math.Sin(heightDeg * math.Pi / 180)
	if s <= 0 {
		return 0
	}
	return 1098 * s * math.Exp(-0.059/s)
}

// CloudDims returns the share of clear-sky radiation that comes through a sky
// covered to cloudPct percent: Kasten and Czeplak (1980), Solar Energy 24,
// 177-189: 1 - 0.75 N^3.4.
func CloudDims(cloudPct float64) float64 {
	return 1 - 0.75*math.Pow(cloudPct/100, 3.4)
}

// clearHour returns the mean clear-sky radiation in W/m2 of the hour from t.
func clearHour(t time.Time, lat, lon float64) float64 {
	const samples = 6 // midpoints of ten minutes each
	sum := 0.0
	for i := range samples {
		at := t.Add(time.Duration(2*i+1) * time.Hour / (2 * samples))
		sum += ClearSky(daylight.SunHeight(at, lat, lon))
	}
	return sum / samples
}

// Fill computes what follows from what is known, and marks it as computed:
// humidity from the dew point and the dew point from humidity; radiation from
// cloud and the sun's height, for the hours and for the members (0 at night,
// whatever the cloud); the chance of rain from the members, where the feed gave
// none. What stays missing stays unknown.
func (f *Forecast) Fill() {
	var put filler
	put.f = f
	chances := len(f.Members) > 1 && f.Wet.Period <= time.Hour
	for i := range f.Hours {
		h := &f.Hours[i]
		air, dew, hum := h.Get(AirC), h.Get(DewPointC), h.Get(HumidityPct)
		switch {
		case air.Known && dew.Known && !hum.Known:
			put.value(h, HumidityPct, HumidityOf(air.V, dew.V))
		case air.Known && hum.Known && !dew.Known:
			put.value(h, DewPointC, DewPointOf(air.V, hum.V))
		}
		if chances && !h.Get(RainChance).Known {
			put.value(h, RainChance, f.memberChance(i))
		}
	}
	put.sunshine()
}

// filler puts computed values into a forecast.
type filler struct {
	f    *Forecast
	from int // index of the source Computed, plus one; 0: none yet
}

func (p *filler) value(h *Hour, v Variable, x unit.Opt) {
	if !x.Known {
		return
	}
	if p.from == 0 {
		p.from = p.f.computedSource() + 1
	}
	h.Values[v], h.From[v] = x, uint8(p.from-1)
}

// computedSource returns the index of the source Computed, which it adds
// behind the feeds if it is not there.
func (f *Forecast) computedSource() int {
	for i := range f.Sources {
		if f.Sources[i].Feed == Computed && !f.Sources[i].Past {
			return i
		}
	}
	f.Sources = append(f.Sources, Source{Feed: Computed, FetchedAt: f.FetchedAt()})
	return len(f.Sources) - 1
}

// memberChance returns the share of the members that see the wet event in
// hour i; unknown unless most of them know their rain.
func (f *Forecast) memberChance(i int) unit.Opt {
	known, wet := 0, 0
	for m := range f.Members {
		s := f.Members[m].Values[RainMM]
		if s == nil || math.IsNaN(s[i]) {
			continue
		}
		known++
		if s[i] > f.Wet.OverMM {
			wet++
		}
	}
	if known < 2 || 2*known < len(f.Members) {
		return unit.Opt{}
	}
	return unit.Some(float64(wet) / float64(known))
}

// sunshine computes the missing radiation.
func (p *filler) sunshine() {
	f := p.f
	for i := range f.Hours {
		h := &f.Hours[i]
		missing := !h.Get(ShortwaveWM2).Known
		for m := range f.Members {
			missing = missing || unknownAt(f.Members[m].Values[ShortwaveWM2], i)
		}
		if !missing {
			continue
		}
		clear := clearHour(h.Start, f.Cell.Latitude, f.Cell.Longitude)
		if !h.Get(ShortwaveWM2).Known {
			p.value(h, ShortwaveWM2, dimmed(clear, f.cloudOver(i)))
		}
		for m := range f.Members {
			v := &f.Members[m].Values
			if !unknownAt(v[ShortwaveWM2], i) {
				continue
			}
			if x := dimmed(clear, meanOver(v[CloudPct], i)); x.Known {
				if v[ShortwaveWM2] == nil {
					v[ShortwaveWM2] = newSeries(len(f.Hours))
				}
				v[ShortwaveWM2][i] = x.V
			}
		}
	}
}

// dimmed is unknown by day where the cloud is.
func dimmed(clear float64, cloud unit.Opt) unit.Opt {
	if clear == 0 {
		return unit.Some(0)
	}
	if !cloud.Known {
		return unit.Opt{}
	}
	return unit.Some(clear * CloudDims(cloud.V))
}

// cloudOver returns the cloud over hour i: the mean of its two ends, or that of
// its start where its end is not known.
func (f *Forecast) cloudOver(i int) unit.Opt {
	c := f.Hours[i].Get(CloudPct)
	if i+1 < len(f.Hours) {
		if next := f.Hours[i+1].Get(CloudPct); next.Known && c.Known {
			return unit.Some((c.V + next.V) / 2)
		}
	}
	return c
}

func meanOver(s Series, i int) unit.Opt {
	if unknownAt(s, i) {
		return unit.Opt{}
	}
	if i+1 < len(s) && !math.IsNaN(s[i+1]) {
		return unit.Some((s[i] + s[i+1]) / 2)
	}
	return unit.Some(s[i])
}

func unknownAt(s Series, i int) bool { return s == nil || math.IsNaN(s[i]) }

func newSeries(n int) Series {
	s := make(Series, n)
	for i := range s {
		s[i] = math.NaN()
	}
	return s
}
