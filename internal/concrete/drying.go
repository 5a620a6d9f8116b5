package concrete

import "math"

// Bleeding (judgement within the handbook's 0.5 to 1.5 kg/m2/h over 1 to 4 h,
// from memory): stiff hand-mixed concrete gives up 3 % of its mixing water,
// falling off evenly until 0.4 of initial set; what has not evaporated by
// then is taken back by the drying paste, all of it by 0.8 of initial set.
const (
	bleedShare    = 0.03
	bleedEnds     = 0.4
	takenBackFrom = 0.4
	takenBackBy   = 0.8
	usualWater    = 180 // kg of mixing water in a m3 where the cement content is unknown; common practice
)

// Once the bleed water is gone, water comes out of the pores, ever more
// slowly: the rate is that of a wet surface over 1 + drawn/dryingScale, so that
// the water drawn grows as the root of time, as it does from drying soil
// (Ritchie, Water Resources Research 8, 1972, from memory; the scale is
// judgement). The surface has crusted when a third of the mixing water of its
// upper 6 mm is gone (judgement).
const (
	dryingScale = 0.05 // kg/m2
	crustDepthM = 0.006
	crustShare  = 1.0 / 3
)

// mixingWater is the water in a m3 of concrete, kg.
func mixingWater(m Mix) float64 {
	if m.CementKgM3 > 0 {
		return m.CementKgM3 * m.WaterCement
	}
	return usualWater
}

// bledShare is the share of the bleed water that has come up when the age is
// a share of that of initial set.
func bledShare(ofInitial float64) float64 {
	x := min(1, max(0, ofInitial/bleedEnds))
	return x * (2 - x)
}

// takenBackShare is the share of the bleed water that the paste can have
// taken back when the age is a share of that of initial set.
func takenBackShare(ofInitial float64) float64 {
	return min(1, max(0, (ofInitial-takenBackFrom)/(takenBackBy-takenBackFrom)))
}

// dried is the water balance of a surface after some hours at a rate that a
// wet surface would have: drawn is the water drawn from the pores, kg/m2, and
// below 0 the water that still stands on the surface. It returns the balance
// and the share of the wet surface's evaporation in that time.
func dried(drawn, rate, hours float64) (after, share float64) {
	potential := rate * hours
	if potential <= 0 {
		return drawn, pace(drawn)
	}
	left := potential
	after = drawn
	if drawn < 0 {
		free := min(left, -drawn)
		left -= free
		after += free
	}
	if left > 0 {
		u := after + dryingScale
		after = math.Sqrt(u*u+2*dryingScale*left) - dryingScale
	}
	return after, (after - drawn) / potential
}

// pace is the share of a wet surface's evaporation at a water balance.
func pace(drawn float64) float64 { return 1 / (1 + max(0, drawn)/dryingScale) }

// crustRisk is the chance that the surface crusts before it closes: drawn is
// the water drawn from the pores by then, limit what makes a crust. The
// evaporation's own error of plus or minus 40 % (Hover, ACI SP-338, 2020) is
// taken as nine in ten of a log-normal spread (judgement).
func crustRisk(drawn, limit float64) float64 {
	if !(drawn > 0) {
		return 0
	}
	needs := func(d float64) float64 { return d*d + 2*dryingScale*d } // the wet surface's evaporation, but for a factor
	spread := math.Log(1+EvaporationAccuracy) / 1.645
	return 0.5 * math.Erfc(math.Log(needs(limit)/needs(drawn))/(spread*math.Sqrt2))
}

// foresee works out how much of a wet surface's evaporation the step has, from
// the rate at its beginning.
func (s *Solver) foresee(dt, wet float64) {
	s.drying = 1
	if s.cover.Kind == "burlap" || !(s.ages[0] < s.need.final) {
		return
	}
	half := s.need.bleedKgM2 * (bledShare(s.ahead[0]/s.need.initial) - s.bled) / 2
	rate := s.rate // in the middle of the step
	if s.before > 0 {
		rate = max(0, rate+dt/2*(s.rate-s.rateWas)/s.before)
	}
	_, s.drying = dried(s.drawn-half, rate*wet*s.fade((s.ages[0]+s.ahead[0])/2), dt)
}

// dry brings the water on the surface and in its pores to the step's end, with
// half of the water that bleeds in the step before it dries and half after.
func (s *Solver) dry(dt, wet float64) {
	if !(s.now.setAge < s.need.final) && s.rate == 0 {
		return
	}
	now := s.wetRate(dt)
	up := bledShare(s.ages[0] / s.need.initial)
	half := s.need.bleedKgM2 * (up - s.bled) / 2
	s.bled = up
	from := s.drawn - half
	if s.cover.Kind == "burlap" { // kept wet: nothing comes out of the concrete
		s.drawn = from - half
	} else {
		mean := (s.rate + now) / 2 * wet * s.fade((s.ages[0]+s.now.setAge)/2)
		s.drawn, _ = dried(from, mean, dt)
		s.now.lost += s.drawn - from
		s.drawn -= half
	}
	s.rateWas, s.rate = s.rate, now
	s.now.drawn = s.drawn
	s.now.evap = s.risk(dt, now*wet)
}

// risk is the drying rate that the trade's limits are held against: that of a
// wet surface. Where the surface has dried and the sun heats it, the formula
// no longer holds for it, so the temperature of the concrete below counts as
// much as the surface has dried (judgement).
func (s *Solver) risk(dt, rate float64) float64 {
	under := s.col.temp[s.col.slab/2]
	if s.cover.Kind != "" || rate == 0 {
		return 0
	}
	p := pace(s.drawn)
	if p == 1 || s.face <= under {
		return rate
	}
	i := int(math.Floor(s.hour - dt/2))
	vapour := along(s.env.a.vapour, s.env.b.vapour, s.hour-float64(i))
	wet, _ := linear(s.steam, s.face)
	t, _ := linear(s.steam, under+p*(s.face-under))
	return rate * max(0, t-vapour) / (wet - vapour)
}

// wetRate is the rate in kg/m2/h at which the outer face would dry if it were
// wet, at the end of a step of dt hours; 0 once the concrete has set.
func (s *Solver) wetRate(dt float64) float64 {
	if !(s.now.setAge < s.need.final) {
		return 0
	}
	i := int(math.Floor(s.hour - dt/2))
	s.env.enter(i)
	x := s.hour - float64(i)
	v, _ := linear(s.steam, s.face)
	return max(0, v-along(s.env.a.vapour, s.env.b.vapour, x)) * along(s.env.a.dry, s.env.b.dry, x)
}
