package daylight

import (
	"math"
	"time"
)

// Heights of the sun's centre, in degrees, at which the light changes.
const (
	// riseHeight: upper limb on the horizon with 34' of refraction and 16' of
	// semi-diameter, zenith distance 90 deg 50' (USNO, Almanac for Computers 1990).
	riseHeight = -50.0 / 60
	// civilHeight: limit of civil twilight (USNO, the same).
	civilHeight = -6.0
)

const rad = math.Pi / 180

// sun returns the sine and cosine of the sun's apparent declination and the
// equation of time in minutes, by the low-precision series that NOAA's solar
// calculator uses (Meeus, Astronomical Algorithms, 2nd ed., chapters 25 and
// 28): 0.01 degree, years 1900 to 2100. The difference of UTC and dynamical
// time, about a minute, moves the sun by 0.001 degree and is left out.
func sun(t time.Time) (sinDecl, cosDecl, eqMin float64) {
	// Julian centuries since 2000-01-01 12:00.
	c := (float64(t.Unix()-946728000) + float64(t.Nanosecond())/1e9) / (36525 * 86400)
	meanLong := (280.46646 + c*(36000.76983+c*0.0003032)) * rad
	anomaly := (357.52911 + c*(35999.05029-c*0.0001537)) * rad
	ecc := 0.016708634 - c*(0.000042037+c*0.0000001267)
	sinM, cosM := math.Sincos(anomaly)
	sin2M := 2 * sinM * cosM
	sin3M := sinM * (3 - 4*sinM*sinM)
	centre := (1.914602-c*(0.004817+c*0.000014))*sinM + (0.019993-c*0.000101)*sin2M + 0.000289*sin3M
	sinNode, cosNode := math.Sincos((125.04 - 1934.136*c) * rad)
	apparent := meanLong + (centre-0.00569-0.00478*sinNode)*rad
	obliquity := (23 + (26+(21.448-c*(46.815+c*(0.00059-c*0.001813)))/60)/60 + 0.00256*cosNode) * rad

	sinDecl = math.Sin(obliquity) * math.Sin(apparent)
	cosDecl = math.Sqrt(1 - sinDecl*sinDecl)

	y := math.Tan(obliquity / 2)
	y *= y
	sin2L, cos2L := math.Sincos(2 * meanLong)
	eq := y*sin2L - 2*ecc*sinM + 4*ecc*y*sinM*cos2L - y*y*sin2L*cos2L - 1.25*ecc*ecc*sin2M
	return sinDecl, cosDecl, 4 * eq / rad
}

// hourAngle returns how far the sun is past the meridian at a longitude, in
// degrees from -180 to 180, for an equation of time in minutes.
func hourAngle(t time.Time, lon, eqMin float64) float64 {
	day := float64(t.Unix()%86400) + float64(t.Nanosecond())/1e9
	return math.Remainder((day/60+eqMin)/4+lon-180, 360)
}

// SunHeight returns the height of the sun's centre above the true horizon in
// degrees, from -90 to 90, without refraction: good to 0.02 degree from 1900
// to 2100 (Meeus). lat and lon are degrees, north and east positive.
func SunHeight(t time.Time, lat, lon float64) float64 {
	sinDecl, cosDecl, eq := sun(t)
	sinLat, cosLat := math.Sincos(lat * rad)
	s := sinLat*sinDecl + cosLat*cosDecl*math.Cos(hourAngle(t, lon, eq)*rad)
	return math.Asin(math.Max(-1, math.Min(1, s))) / rad
}

// noon returns the sun's upper transit nearest to t.
func noon(t time.Time, lon float64) time.Time {
	for range 3 { // the equation of time moves by at most 30 s a day
		_, _, eq := sun(t)
		t = t.Add(-time.Duration(hourAngle(t, lon, eq) / 15 * float64(time.Hour)))
	}
	return t
}

// crossing returns the instant between a and b at which the sun's centre
// passes height, to a millisecond; zero when a and b lie on the same side.
// The height is evaluated at each instant tried, so that the declination is
// that of the event: taking noon's costs over a minute near 60 degrees.
func crossing(a, b time.Time, lat, lon, height float64) time.Time {
	above := SunHeight(a, lat, lon) > height
	if above == (SunHeight(b, lat, lon) > height) {
		return time.Time{}
	}
	for b.Sub(a) > time.Millisecond {
		mid := a.Add(b.Sub(a) / 2)
		if (SunHeight(mid, lat, lon) > height) == above {
			a = mid
		} else {
			b = mid
		}
	}
	return b.Round(time.Second)
}
