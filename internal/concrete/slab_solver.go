package concrete

import (
	"math"
	"time"
)

// Solver holds the working memory for one slab. One Solver serves any number of
// castings, one after the other, without new memory but for a Behaviour's two
// series; it is not for use by several goroutines at once. The zero Solver is
// ready.
type Solver struct {
	col   column
	env   slabWeather
	c     Casting
	hyd   *hydrationTable
	gain  *[tableSize]Age
	steam *[tableSize]float64

	heat   float64           // J/m3 of concrete from a degree of hydration of 1 over the ultimate
	ages   [maxNodes]float64 // h at 21.1 C
	ahead  [maxNodes]float64 // the same, foreseen for the end of the step
	speed  [maxNodes]float64 // of hydration
	gone   [maxNodes]float64 // of hydration, a step ago
	degree [maxNodes]float64 // over the ultimate degree, by the ages foreseen
	source [maxNodes]float64 // W/m2

	drawn   float64 // kg/m2; see moment.drawn
	bled    float64 // share of the bleed water that has come up
	rate    float64 // kg/m2/h that a wet surface would lose
	rateWas float64 // the same a step ago
	drying  float64 // share of it that the surface loses in the step

	hour   float64 // since Weather.Start
	placed float64 // the hour of placing
	before float64 // h, the step before; 0: none
	face   float64 // C, outer face
	cover  CoverSpan
	need   needs
	first  surroundings // at the stages of a step
	second surroundings
	in     float64 // J/m2 that came in through the surface
	now    moment
	course course
}

// Steps in hours; see course.pace.
const (
	stepSetting   = 1.0 / 6
	stepHardening = 1.0 / 2
	stepAfter     = 1.0
)

// Cover resistances where none is given, and cement where none is known.
const (
	burlapM2KW   = 0.01 // wet cloth is no insulation (judgement)
	BlanketM2KW  = 0.35 // a curing blanket, 12 mm of foam (common practice); see Stock.covers for one's own
	usualCement  = 300  // kg/m3, bagged concrete at about 15 % cement by mass (from memory: 14 to 18 %)
	usualRatio   = 0.60 // water-cement ratio where none is given (judgement)
	heldFromPast = 48.0 // h that the first hour's weather may stand in for the time before it
	thickest     = 2.0  // m; beyond is no flatwork
	wettest      = 1.5  // water-cement ratio; beyond is no concrete
	richest      = 1000 // kg of cement in a m3; beyond is no concrete
)

// accept takes a casting over, with stand-ins for what is not given or can't
// be, and works out what must be reached. It reports whether there is weather
// and a slab to go by.
func (s *Solver) accept(c *Casting) bool {
	s.c = *c
	m, site := &s.c.Mix, &s.c.Site
	s.env.open(&s.c.Weather, site, saturations())
	s.placed = c.Placed.Sub(c.Weather.Start).Hours()
	if s.env.hours == 0 || s.placed >= float64(s.env.hours) || s.placed < -heldFromPast {
		return false
	}
	if !(c.Thickness > 0 && c.Thickness <= thickest) {
		return false
	}
	guess := s.placed < 0 || !(m.Strength28dMPa > 0)
	comp, err := CementComposition(m.Cement)
	if err != nil {
		guess, m.Cement = true, "general"
		comp, _ = CementComposition(m.Cement)
	}
	if !(m.WaterCement > 0 && m.WaterCement <= wettest) {
		guess, m.WaterCement = true, usualRatio
	}
	if !finite(float64(m.TemperatureC)) {
		guess = true
		m.TemperatureC = celsius(s.env.read(c.Weather.AirC, int(math.Floor(s.placed)), math.Min, 0))
	}
	if m.SetFactor == 0 {
		m.SetFactor = 1
	} else if !(m.SetFactor >= quickest && m.SetFactor <= 10) {
		guess, m.SetFactor = true, 1
	}
	if !(site.WindFactor >= 0 && site.WindFactor <= 2) {
		guess, site.WindFactor = true, 1
	}
	s.env.unknown = s.env.unknown || guess
	h := HydrationOf(comp, m.WaterCement)
	s.need = needsOf(&s.c, h)
	s.hyd, s.gain, s.steam = hydrationTableOf(m.Cement), gainTable(), saturations()
	cement := m.CementKgM3
	if !(cement > 0 && cement <= richest) {
		cement = usualCement
	}
	// Water beyond the label's lets more cement react, but late: it brings no
	// heat here, so that more water never makes the slab warmer (judgement).
	if r := m.StrengthWaterCement; r > 0 && r < m.WaterCement {
		h = HydrationOf(comp, r)
	}
	s.heat = h.HeatJG * 1000 * cement * h.Ultimate
	return true
}

// start lays the casting accepted out at its placing; finer divides the grid.
func (s *Solver) start(finer int) {
	s.first = surroundings{emit: emissivity * stefanBoltzmann, steam: s.steam}
	s.second = s.first
	s.col.lay(float64(s.c.Thickness), s.c.Site.Subgrade, finer)
	s.hour, s.before, s.in = s.placed, 0, 0
	s.drawn, s.bled, s.drying = 0, 0, 1
	t := float64(s.c.Mix.TemperatureC)
	n := s.col.slab + 1
	for i := range n {
		s.col.temp[i] = t
	}
	s.env.bed(&s.col, s.placed)
	for i := range n {
		s.ages[i], s.degree[i] = 0, 0
		s.speed[i] = s.hyd.speedAt(s.col.temp[i])
	}
	s.face, s.cover = t, s.coverAt(0)
	s.now = moment{}
	s.env.shelter(s.guardAt(0))
	s.observe(0)
	s.rate = s.wetRate(0)
	s.rateWas = s.rate
}

// next returns the length of the next step in hours: to the next mark of the
// clock, or before it to a change of cover or of shade.
func (s *Solver) next(step float64) float64 {
	const hair = 1e-7
	to := (math.Floor(s.hour/step+hair) + 1) * step
	for i := range s.c.Covers {
		v := &s.c.Covers[i]
		for _, d := range [2]time.Duration{v.From, v.Until} {
			if at := s.placed + d.Hours(); at > s.hour+hair && at < to-hair {
				to = at
			}
		}
	}
	if g := s.c.Guard; g != nil {
		for _, d := range [2]time.Duration{g.From, g.Until} {
			if at := s.placed + d.Hours(); at > s.hour+hair && at < to-hair {
				to = at
			}
		}
	}
	if at := s.env.nextShade(s.hour + hair); at < to-hair {
		to = at
	}
	return to - s.hour
}

// step takes the slab a step of dt hours on, within one hour of the clock.
func (s *Solver) step(dt float64) {
	c := &s.col
	s.hydrate(dt)
	mid := s.hour + dt/2
	hour := math.Floor(mid)
	s.env.enter(int(hour))
	if len(s.c.Covers) > 0 {
		s.cover = s.coverAt(mid - s.placed)
	}
	guard := s.guardAt(mid - s.placed)
	s.env.shelter(guard)
	wet := s.lieUnder(mid, guard)
	s.foresee(dt, wet)
	x := s.hour - hour
	s.env.meet(&s.first, x+gamma*dt, wet*s.wetness(s.ages[0]+gamma*(s.ahead[0]-s.ages[0])))
	s.env.meet(&s.second, x+dt, wet*s.wetness(s.ahead[0]))
	c.factor(dt * 3600)
	s.in += c.advance(&s.source, &s.first, &s.second, &s.face)
	s.age(dt)
	s.hour += dt
	s.before = dt
	s.observe(dt)
	s.dry(dt, wet)
}

// hydrate foresees the equivalent age of each node of the slab at the step's
// end and turns the growth of its degree of hydration into a source.
func (s *Solver) hydrate(dt float64) {
	slope := 0.0
	if s.before > 0 {
		slope = dt / (2 * s.before)
	}
	per := s.heat / (dt * 3600)
	n := s.col.slab + 1
	ages, ahead, speed, gone, degree := s.ages[:n], s.ahead[:n], s.speed[:n], s.gone[:n], s.degree[:n]
	share, source := s.col.share[:n], s.source[:n]
	for i := range ages {
		to := ages[i] + dt*max(0, speed[i]+slope*(speed[i]-gone[i]))
		d := s.hyd.degreeAt(to)
		source[i] = share[i] * per * (d - degree[i])
		ahead[i], degree[i] = to, d
	}
}

// age corrects the ages, once the step's end is known, by the trapezoidal
// rule.
func (s *Solver) age(dt float64) {
	n := s.col.slab + 1
	temp, ages, speed, gone := s.col.temp[:n], s.ages[:n], s.speed[:n], s.gone[:n]
	for i := range temp {
		v := s.hyd.speedAt(temp[i])
		ages[i] += dt / 2 * (speed[i] + v)
		gone[i], speed[i] = speed[i], v
	}
}

// coverAt returns the cover that lies on the slab, hours after placing; of
// several the last one listed.
func (s *Solver) coverAt(h float64) CoverSpan {
	for i := len(s.c.Covers) - 1; i >= 0; i-- {
		if v := &s.c.Covers[i]; v.From.Hours() <= h && h < v.Until.Hours() {
			return *v
		}
	}
	return CoverSpan{}
}

// guardAt returns what is done against drying, hours after placing.
func (s *Solver) guardAt(h float64) Guard {
	if g := s.c.Guard; g != nil && g.From.Hours() <= h && h < g.Until.Hours() {
		return *g
	}
	return Guard{Wind: 1, Sun: 1, Drying: 1}
}

// lieUnder sets what holds for a whole step, the sun and the cover, and
// returns how much of a wet surface's evaporation cover and guard let through.
func (s *Solver) lieUnder(hour float64, g Guard) float64 {
	sun, absorbs := s.env.sun, absorptivity
	switch {
	case s.env.shaded(hour):
		sun *= s.env.diffuse
	case g.Sun != 1:
		sun *= s.env.diffuse + g.Sun*(1-s.env.diffuse)
	}
	resist, wet := 0.0, g.Drying
	switch s.cover.Kind {
	case "":
	case "film":
		absorbs, wet = absorbsFilm, 0
		resist = given(s.cover.ResistanceM2KW, 0)
	case "burlap":
		resist = given(s.cover.ResistanceM2KW, burlapM2KW)
	case "blanket":
		resist, wet = given(s.cover.ResistanceM2KW, BlanketM2KW), 0
	default: // a sheet lies on the concrete and is no insulation
		absorbs, wet = absorbsPlastic, 0
		resist = given(s.cover.ResistanceM2KW, 0)
	}
	sun *= absorbs
	s.first.sun, s.second.sun = sun, sun
	s.first.resist, s.second.resist = resist, resist
	return wet
}

// wetness is the share of a wet surface's evaporation that is left: that of
// the drying surface, dying away from initial to final set. Burlap is kept wet.
func (s *Solver) wetness(age float64) float64 {
	if s.cover.Kind == "burlap" {
		return 1
	}
	return s.drying * s.fade(age)
}

// fade is what setting leaves of the evaporation: all until initial set, none
// from final set on (judgement).
func (s *Solver) fade(age float64) float64 {
	if age <= s.need.initial {
		return 1
	}
	return max(0, (s.need.final-age)/(s.need.final-s.need.initial))
}

func given(v, otherwise float64) float64 {
	if v > 0 && !math.IsInf(v, 1) {
		return v
	}
	return otherwise
}

// observe brings the moment up to the slab, dt hours after the one before.
func (s *Solver) observe(dt float64) {
	m := &s.now
	top, foot := s.col.temp[0], s.col.temp[s.col.slab]
	gt, gf := gainAt(s.gain, top), gainAt(s.gain, foot)
	if dt > 0 {
		half := dt / 2
		m.topAge = m.topAge.Plus(m.topGain, half).Plus(gt, half)
		m.footAge = m.footAge.Plus(m.footGain, half).Plus(gf, half)
	}
	m.topGain, m.footGain = gt, gf
	m.hours = s.hour - s.placed
	m.top, m.low, m.setAge = top, s.col.coldest(), s.ages[0]
	i := int(math.Floor(s.hour - dt/2))
	s.env.enter(i)
	m.air = along(s.env.a.air, s.env.b.air, s.hour-float64(i))
	m.doubled = s.cover.Kind == "blanket"
	if m.setAge < s.need.initial {
		v := opensSpeed(celsius(top))
		m.boot += dt * (m.bootSpeed + v) / 2
		m.bootSpeed = v
	}
	if dt == 0 {
		m.evap = s.risk(0, s.wetRate(0)*s.guardAt(0).Drying)
	}
}

// Behave returns what a slab does in the weather given. It goes on until the
// slab is set, safe from frost, stripped and cured, or the weather ends.
// Weather before its first hour is taken as that hour's. It never fails: what
// can't be known stays Never, with Unknown or LateGuess set.
func (s *Solver) Behave(c *Casting) Behaviour {
	out := Behaviour{InitialSet: Never, FinalSet: Never, FinishFrom: Never, FinishUntil: Never,
		StripFrom: Never, FrostSafe: Never, WalkFrom: Never, CuredBy: Never, Crusts: Never,
		Reaches: [3]time.Duration{Never, Never, Never}, Unknown: true}
	if !s.accept(c) {
		return out
	}
	s.start(1)
	out.SurfaceC, out.EvapRate = make([]float64, 0, 24*7+1), make([]float64, 0, 25)
	k := &s.course
	k.begin(s.need, &out, s.now)
	last := float64(s.env.hours)
	out.Unknown = s.env.unknown
	for !k.done() && s.hour < last-1e-7 {
		s.step(s.next(k.pace()))
		// What is missing from the hours after final set can't change it.
		out.Unknown = out.Unknown || s.env.unknown && out.FinalSet == Never
		k.step(&s.now)
	}
	out.LateGuess = s.env.unknown && !out.Unknown
	return out
}
