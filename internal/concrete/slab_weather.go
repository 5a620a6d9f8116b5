package concrete

import (
	"math"
	"time"
)

// What stands in for weather that is not known, chosen so that frost comes
// sooner and set later: the colder of the nearest hours known on either side,
// and with no such hour the clear sky, no sun, and these (judgement). The
// caller learns of it by Behaviour.Unknown.
const (
	unknownWindMS   = 5.0
	unknownHumidity = 40.0
	diffuseClear    = 0.2 // share of a clear day's sun that is diffuse (from memory; 0.1 to 0.25)
)

// instant is the weather's part in the surface's heat at one moment. Film,
// sky and vapour are worked out at the hours and taken as linear between.
type instant struct {
	air, film, sky, vapour, dry float64 // C, W/(m2 K), W/m2, kPa, kg/(m2 h kPa)
}

func along(a, b, x float64) float64 { return a + x*(b-a) }

// slabWeather is the weather around a slab as the solver reads it: hours count
// from Hourly.Start.
type slabWeather struct {
	w       *Hourly
	site    *Site
	hours   int     // to the last hour whose air temperature is known
	solar   float64 // hour by the sun at Hourly.Start
	hPa     float64
	shadeH  float64 // hour until which only diffuse light falls
	wind    float64 // wind at the slab over that at 10 m, guard included
	unknown bool    // something had to be guessed
	steam   *[tableSize]float64
	still   float64 // Menzel's rate for each kPa without wind
	blown   float64 // and more of it for each m/s

	hour    int // that a and b stand at the ends of
	a, b    instant
	sun     float64 // W/m2 in the hour
	diffuse float64 // share of it that is diffuse
}

func (s *slabWeather) open(w *Hourly, site *Site, steam *[tableSize]float64) {
	*s = slabWeather{w: w, site: site, steam: steam, hour: math.MinInt, hPa: pressureAt(known(site.ElevationM)),
		shadeH: math.Inf(-1)}
	for i := len(w.AirC) - 1; i >= 0; i-- {
		if finite(w.AirC[i]) {
			s.hours = i + 1
			break
		}
	}
	s.still = menzel(0)
	s.blown = menzel(1) - s.still
	t := w.Start.UTC()
	s.solar = t.Sub(t.Truncate(24*time.Hour)).Hours() + known(site.Longitude)/15
	s.wind = site.WindFactor
	if !site.ShadeUntil.IsZero() {
		s.shadeH = site.ShadeUntil.Sub(w.Start).Hours()
	}
}

// shelter sets what is left of the wind.
func (s *slabWeather) shelter(g Guard) {
	if w := s.site.WindFactor * g.Wind; w != s.wind {
		s.wind, s.hour = w, math.MinInt
	}
}

// shaded reports whether an hour has no direct sun.
func (s *slabWeather) shaded(hour float64) bool {
	if hour < s.shadeH {
		return true
	}
	for i := range s.site.Shade {
		v := &s.site.Shade[i]
		if v.From.Sub(s.w.Start).Hours() <= hour && hour < v.Until.Sub(s.w.Start).Hours() {
			return true
		}
	}
	return false
}

// nextShade returns the first hour after one at which direct sun comes or
// goes, +Inf without one.
func (s *slabWeather) nextShade(hour float64) float64 {
	next := math.Inf(1)
	if s.shadeH > hour {
		next = s.shadeH
	}
	for i := range s.site.Shade {
		for _, t := range [2]time.Time{s.site.Shade[i].From, s.site.Shade[i].Until} {
			if h := t.Sub(s.w.Start).Hours(); h > hour && h < next {
				next = h
			}
		}
	}
	return next
}

// enter makes hour i the one that is read.
func (s *slabWeather) enter(i int) {
	if i == s.hour {
		return
	}
	if s.hour != math.MinInt && i == s.hour+1 {
		s.a = s.b
	} else {
		s.a = s.at(i)
	}
	s.b = s.at(i + 1)
	s.hour = i
	s.sun = max(0, s.read(s.w.ShortwaveWM2, i, math.Min, 0))
	cloud := s.read(s.w.CloudPct, i, math.Min, 0) / 100
	s.diffuse = diffuseClear + (1-diffuseClear)*cloud
}

// meet sets what changes within an hour, at x of it.
func (s *slabWeather) meet(r *surroundings, x, wet float64) {
	a, b := &s.a, &s.b
	r.air, r.film, r.sky = along(a.air, b.air, x), along(a.film, b.film, x), along(a.sky, b.sky, x)
	r.wet = 0
	if wet > 0 {
		r.vapour = along(a.vapour, b.vapour, x)
		r.wet = wet * along(a.dry, b.dry, x) / 3600 * latentJKg
	}
}

// at works out hour i.
func (s *slabWeather) at(i int) instant {
	air := s.air(i)
	humidity := s.read(s.w.HumidityPct, i, math.Min, unknownHumidity)
	wind := max(0, s.read(s.w.WindMS, i, math.Max, unknownWindMS)) * s.wind
	cloud := min(1, max(0, s.read(s.w.CloudPct, i, math.Min, 0)/100))
	saturated, _ := linear(s.steam, air)
	vapour := min(1, max(0.01, humidity/100)) * saturated
	k := air + 273.15
	sky := skyEmissivity(dewPoint(vapour), s.solar+float64(i), s.hPa, cloud)
	return instant{air: air, film: convection(wind), sky: emissivity * sky * stefanBoltzmann * k * k * k * k,
		vapour: vapour, dry: s.still + s.blown*wind}
}

// menzel is Menzel's rate for each kPa between the surface and the air; it is
// linear in the wind.
func menzel(wind float64) float64 { return EvaporationRate(20, 20, 0, wind) / SaturationKPa(20) }

// dewPoint is the inverse of SaturationKPa.
func dewPoint(kpa float64) float64 {
	x := math.Log(kpa / 0.61094)
	return 243.04 * x / (17.625 - x)
}

// read returns a value of hour i, the last one's beyond the end, and where it
// is not known the stand-in: the worse of the nearest known hours, or none.
func (s *slabWeather) read(v []float64, i int, worse func(x, y float64) float64, none float64) float64 {
	i = max(0, min(i, s.hours-1))
	if i < len(v) && finite(v[i]) {
		return v[i]
	}
	s.unknown = true
	before, after := min(i, len(v))-1, i+1
	for before >= 0 && !finite(v[before]) {
		before--
	}
	for after < len(v) && !finite(v[after]) {
		after++
	}
	switch {
	case before < 0 && after >= len(v):
		return none
	case before < 0:
		return v[after]
	case after >= len(v):
		return v[before]
	}
	return worse(v[before], v[after])
}

// air returns the air temperature of hour i.
func (s *slabWeather) air(i int) float64 { return s.read(s.w.AirC, i, math.Min, math.NaN()) }

// wetBulb returns the mean wet-bulb temperature of the hours from to until: what
// a damp surface in the shade cools to (Stull, J. Appl. Meteor. Climatol. 50,
// 2011, from memory; within 1 K from 5 % humidity and -20 C up).
func (s *slabWeather) wetBulb(from, until int) float64 {
	sum := 0.0
	for i := from; i < until; i++ {
		sum += WetBulb(s.air(i), s.read(s.w.HumidityPct, i, math.Max, 100))
	}
	return sum / float64(until-from)
}

// WetBulb returns the wet-bulb temperature in C (Stull, J. Appl. Meteor.
// Climatol. 50, 2011, from memory), never above the air's.
func WetBulb(airC, humidityPct float64) float64 {
	rh := min(99, max(5, humidityPct))
	w := airC*math.Atan(0.151977*math.Sqrt(rh+8.313659)) + math.Atan(airC+rh) - math.Atan(rh-1.676331) +
		0.00391838*math.Pow(rh, 1.5)*math.Atan(0.023101*rh) - 4.686035
	return min(airC, w)
}

// mean returns the mean air temperature of the hours from to until.
func (s *slabWeather) mean(from, until int) float64 {
	sum := 0.0
	for i := from; i < until; i++ {
		sum += s.air(i)
	}
	return sum / float64(until-from)
}

// bed sets the temperature of the ground before the slab comes: the mean air
// temperature of all the weather deep down, of the last day to half a metre,
// and of the last six hours at the top (judgement; 0.1 m is what a daily wave
// fades over in moist ground, 0.5 m one of a month). The node between slab and
// ground starts with the heat of both its halves.
func (s *slabWeather) bed(c *column, placed float64) {
	now := max(0, min(s.hours-1, int(math.Floor(placed))))
	before := s.unknown
	deep := s.mean(0, s.hours)
	s.unknown = before // a gap moves the mean of days by little: no reason to doubt the setting
	day := s.mean(max(0, now-23), now+1)
	top := s.mean(max(0, now-5), now+1)
	if s.site.Wetted { // a damp base lies at the wet bulb's temperature (judgement)
		top = min(top, s.wetBulb(max(0, now-5), now+1))
	}
	under, inSlab := c.depth[c.slab], c.share[c.slab]*concreteHeat/c.heat[c.slab]
	c.temp[c.slab] = inSlab*c.temp[c.slab] + (1-inSlab)*top
	for i := c.slab + 1; i < c.n; i++ {
		z := c.depth[i] - under
		c.temp[i] = deep + (day-deep)*math.Exp(-z/0.5) + (top-day)*math.Exp(-z/0.1)
	}
}

func known(v float64) float64 {
	if finite(v) {
		return v
	}
	return 0
}

// finite reports whether a value is known at all.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
