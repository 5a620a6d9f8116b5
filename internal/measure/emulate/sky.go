package emulate

import (
	"math"
	"time"

	"dryslot/internal/daylight"
)

// The records have neither sun nor cloud. Cloud is read from the humidity of
// the afternoon, when air is best mixed, and from rain: 10 % at 35 % humidity
// rising to 95 % at 90 %, 100 % in a wet hour (judgement). The sun is that of
// a clear sky, let through the cloud.

// cloudOf returns the cloud cover in percent of an afternoon's humidity.
func cloudOf(humidityPct float64) float64 {
	return max(10, min(95, 10+(humidityPct-35)/(90-35)*85))
}

// clearSky returns the sun on the level under a clear sky, W/m2, at a sun
// height in degrees: 1098 sin h exp(-0.057 / sin h) (Haurwitz, Journal of
// Meteorology 2, 1945; coefficients from memory).
func clearSky(heightDeg float64) float64 {
	sin := math.Sin(heightDeg * math.Pi / 180)
	if sin <= 0.01 {
		return 0
	}
	return 1098 * sin * math.Exp(-0.057/sin)
}

// throughCloud returns the share of it that a cloud cover lets through:
// 1 - 0.75 n^3.4 (Kasten and Czeplak, Solar Energy 24, 1980; coefficients from
// memory).
func throughCloud(pct float64) float64 { return 1 - 0.75*math.Pow(pct/100, 3.4) }

// sky fills cloud and sun.
func (s *Station) sky() {
	n := s.Hours()
	s.cloud, s.clear, s.sun = make([]float64, n), make([]float64, n), make([]float64, n)
	for h := range n {
		s.cloud[h] = s.cloudAt(h)
		mid := s.Start.Add(time.Duration(h)*time.Hour + 30*time.Minute)
		s.clear[h] = clearSky(daylight.SunHeight(mid, s.Latitude, s.Longitude))
		s.sun[h] = s.clear[h] * throughCloud(s.cloud[h])
	}
}

// cloudAt reads hour h's cloud from the humidity of the nearest afternoon, 12
// to 17 o'clock, moving in a straight line from one afternoon to the next.
func (s *Station) cloudAt(h int) float64 {
	if s.RainMM[h] > 0 {
		return 100
	}
	const noon, until = 12, 17
	rel := float64(h-s.begin) - (noon+until)/2.0
	d := int(math.Floor(rel / dayHours))
	w := rel/dayHours - float64(d)
	a, b := s.afternoon(d, noon, until), s.afternoon(d+1, noon, until)
	switch {
	case math.IsNaN(a) && math.IsNaN(b):
		return math.NaN()
	case math.IsNaN(a):
		return cloudOf(b)
	case math.IsNaN(b):
		return cloudOf(a)
	}
	return cloudOf(a*(1-w) + b*w)
}

func (s *Station) afternoon(d, from, until int) float64 {
	sum, n := 0.0, 0
	a := s.hourOfDay(d)
	for h := max(0, a+from); h < min(s.Hours(), a+until); h++ {
		if x := s.Humidity[h]; !math.IsNaN(x) {
			sum += x
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}
