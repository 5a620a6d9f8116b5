package concrete

import "math"

// What the surface exchanges heat by. Absorptivity and emissivity are those of
// light-coloured concrete (NISTIR 6551, Bentz 2000, values from memory); fresh
// wet concrete is darker; burlap and blankets are taken as the same (judgement).
const (
	absorptivity    = 0.65
	absorbsPlastic  = 0.90 // black sheet lying on the concrete (judgement)
	absorbsFilm     = 0.65 // clear or white film: as the concrete below it (judgement)
	emissivity      = 0.90
	stefanBoltzmann = 5.670374419e-8 // W/(m2 K4), CODATA 2018
	latentJKg       = 2.45e6         // heat of evaporation of water at about 20 C (from memory)
)

// surroundings is what the slab's outer face meets at one instant. The face
// is the concrete's own, or that of a cover that lies on it without a heat
// capacity of its own.
type surroundings struct {
	sun    float64 // W/m2 absorbed
	air    float64 // C
	film   float64 // W/(m2 K) of convection
	sky    float64 // W/m2 of long-wave radiation absorbed
	emit   float64 // emissivity times the Stefan-Boltzmann constant
	vapour float64 // kPa in the air
	wet    float64 // W/m2 of evaporation per kPa; 0: dry
	resist float64 // m2 K/W of the cover
	steam  *[tableSize]float64
}

// flux returns the heat in W/m2 that goes into a face at a temperature, and
// how it changes with it.
func (s *surroundings) flux(face float64) (q, slope float64) {
	k := face + 273.15
	k3 := s.emit * k * k * k
	q = s.sun + s.film*(s.air-face) + s.sky - k3*k
	slope = -s.film - 4*k3
	if s.wet > 0 {
		if e, de := linear(s.steam, face); e > s.vapour {
			q -= s.wet * (e - s.vapour)
			slope -= s.wet * de
		}
	}
	return q, slope
}

// solve returns the flux at which the face meets the slab beneath it: the
// face stands at free + give times the flux. The flux falls with the face's
// temperature, so there is one answer, and Newton's method finds it.
func (s *surroundings) solve(free, give float64, face *float64) float64 {
	const tries, enough = 20, 1e-5 // K; the error after such a step is below 1e-9 K
	t, q := *face, 0.0
	for range tries {
		f, slope := s.flux(t)
		d := (free + give*f - t) / (1 - give*slope)
		t += d
		q = f + slope*d
		if math.Abs(d) < enough {
			break
		}
	}
	*face = t
	return q
}

// convection returns the film coefficient in W/(m2 K) for wind at the slab in
// m/s (the form used by NISTIR 6551; coefficients from memory). It steps from
// 25.6 to 25.3 at 5 m/s.
func convection(wind float64) float64 {
	if wind <= 5 {
		return 5.6 + 4.0*wind
	}
	return 7.2 * math.Pow(wind, 0.78)
}

// skyEmissivity is the sky's emissivity by Berdahl and Martin (quoted in
// cse-sim) with cloud by the 2013 ACM factor of 0.784 (cse issue 19). Dew
// point in C, hour by the sun, pressure in hPa, cloud from 0 to 1.
func skyEmissivity(dewC, solarHour, pressure, cloud float64) float64 {
	d := dewC / 100
	clear := 0.711 + 0.56*d + 0.73*d*d + 0.013*math.Cos(2*math.Pi*solarHour/24) + 1.2e-4*(pressure-1000)
	clear = min(1, max(0, clear))
	return clear + 0.784*(1-clear)*cloud
}

// pressureAt returns the standard atmosphere's pressure in hPa at a height in
// m (US Standard Atmosphere 1976, from memory).
func pressureAt(elevationM float64) float64 {
	return 1013.25 * math.Pow(1-2.25577e-5*elevationM, 5.25588)
}
