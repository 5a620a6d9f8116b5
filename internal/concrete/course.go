package concrete

import (
	"math"
	"time"
)

// What planning asks for beside the standards' figures (judgement where no
// source stands).
const (
	stripMPa      = 2.0  // judgement
	stripWarmH    = 12.0 // hours at warmC or more, ACI 347 for vertical sides
	warmC         = 10.0 // 50 F, ACI 347 and ACI 308
	frostSafeMPa  = 3.5  // PCA EB001 ch. 14; ACI 306R, 500 psi
	frostSafeWet  = 7.0  // w/c above 0.60 or unknown: CSA A23.1's 7 MPa
	frostSafeWC   = 0.60
	frostSafeAgeH = 24.0 // "about the first 24 h at normal temperature", PCA EB001 ch. 14
	curedShare    = 0.70 // ACI 308: 70 % of the strength wanted (from memory)
)

// needs is what must be reached, as equivalent ages, worked out once a slab.
type needs struct {
	initial, final float64 // h at 21.1 C
	closes         float64
	boot           float64 // h at 21.1 C by opensEnergyK: from then a boot sinks in 6 mm at most
	crust          float64 // kg/m2 drawn from the pores
	strip          float64 // h at 20 C, low end
	reaches        [3]float64
	frostSafe      float64
	cured          float64
	curedWarmH     float64
	bleedKgM2      float64
}

func needsOf(c *Casting, h Hydration) needs {
	m := &c.Mix
	water := mixingWater(*m)
	n := needs{bleedKgM2: bleedShare * water * float64(c.Thickness), crust: crustShare * crustDepthM * water}
	n.initial, n.final = SetAges(h, m.WaterCement, m.SetFactor)
	n.closes = n.initial + closesAt(c.Finish)*(n.final-n.initial)
	n.boot = opensAtInitial * n.initial
	faster := m.AgeFactor
	if !(faster > 0) {
		faster = 1
	}
	final20 := n.final / h.Speed(20) * faster
	n.strip = lowAgeFor(*m, stripMPa, final20) / faster
	for i, mpa := range stripBandsMPa {
		n.reaches[i] = lowAgeFor(*m, mpa, final20) / faster
	}
	unknown := m.CementIsGuessed || !(m.CementKgM3 > 0)
	mpa := frostSafeMPa
	if !(m.WaterCement <= frostSafeWC) || unknown {
		mpa = frostSafeWet
	}
	n.frostSafe = max(frostSafeAgeH, lowAgeFor(*m, mpa, final20)) / faster
	n.cured, n.curedWarmH = math.Inf(1), DampDays(m.Cement, m.WaterCement, !unknown)*24
	if !unknown {
		// 70 % of what the label promises: more water gets there later.
		n.cured = lowAgeFor(*m, curedShare*m.Strength28dMPa, final20) / faster
	}
	return n
}

// moment is the state of a slab at one instant. Ages are followed at its
// surface and its underside: the one node or the other ages least, since
// hydration warms the slab from within and both sides take the heat away.
type moment struct {
	hours     float64 // since placing
	top, low  float64 // C: surface, coldest node
	setAge    float64 // h at 21.1 C, of the surface: it is what is finished and what rain hurts
	topAge    Age
	footAge   Age
	topGain   Age
	footGain  Age
	evap      float64 // kg/m2/h
	lost      float64 // kg/m2 evaporated since placing
	drawn     float64 // kg/m2 drawn from the pores; below 0: bleed water that stands on the surface
	boot      float64 // h at 21.1 C by opensEnergyK
	bootSpeed float64
	air       float64 // C
	doubled   bool    // a blanket lies on it, two layers thick along the edges
}

// ageLow is the equivalent age at 20 C to decide on.
func (m *moment) ageLow() float64 { return min(m.topAge.Low(), m.footAge.Low()) }

// course follows a slab through its moments and notes when what was asked for
// comes to pass. Within a step everything is taken as linear.
type course struct {
	need  needs
	out   *Behaviour
	last  moment
	warmH float64 // h at 10 C or more

	left     float64       // bleed water that stands on the surface less what the paste has taken back
	wetUntil float64       // h
	boot     time.Duration // a boot leaves 6 mm
	body     time.Duration // the finish closes, were it not for a crust
}

func (k *course) begin(n needs, out *Behaviour, m moment) {
	*k = course{need: n, out: out, last: m, boot: Never, body: Never}
	out.ColdestC, out.EvapPeak, out.Freezes = celsius(m.low), m.evap, m.low < 0
	out.EdgeC, out.CornerC = out.ColdestC, out.ColdestC
	out.SurfaceC = append(out.SurfaceC, m.top)
	out.EvapRate = append(out.EvapRate, m.evap)
}

// pace is the step in hours that what is still open calls for: fine while
// finishing and initial set are decided, coarser while frost is, coarse when
// only stripping is left or the slab is frozen and lost.
func (k *course) pace() float64 {
	o := k.out
	switch {
	case o.FrostSafe != Never || o.Freezes:
		return stepAfter
	case o.FinishFrom != Never && o.FinishUntil != Never:
		return stepHardening
	}
	return stepSetting
}

// done says whether all that was asked for has come to pass.
func (k *course) done() bool {
	o := k.out
	return o.FinalSet != Never && o.FinishFrom != Never && o.FrostSafe != Never && o.StripFrom != Never &&
		o.CuredBy != Never
}

// step takes the slab on to its next moment.
func (k *course) step(m *moment) {
	a, o, n := &k.last, k.out, &k.need
	dt := m.hours - a.hours
	if o.InitialSet == Never {
		k.bleed(a, m, dt)
		k.dry(a, m, dt)
		if k.boot == Never {
			k.boot = crossing(a, m, a.boot, m.boot, n.boot)
		}
		o.InitialSet = crossing(a, m, a.setAge, m.setAge, n.initial)
	}
	k.window(a, m)
	if o.FinalSet == Never {
		o.FinalSet = crossing(a, m, a.setAge, m.setAge, n.final)
	}
	for h := len(o.SurfaceC); float64(h) <= m.hours+1e-9; h++ {
		o.SurfaceC = append(o.SurfaceC, between(a, m, a.top, m.top, float64(h)))
	}
	k.harden(a, m, dt)
}

// harden notes frost, stripping, walking and curing.
func (k *course) harden(a, m *moment, dt float64) {
	o, n := k.out, &k.need
	if o.FrostSafe == Never {
		if m.low < float64(o.ColdestC) {
			o.ColdestC, o.ColdestAt = celsius(m.low), hours(m.hours)
		}
		if share := EdgeShare(m.hours); m.air < m.low && !m.doubled {
			o.EdgeC = min(o.EdgeC, celsius(m.air+share*(m.low-m.air)))
			o.CornerC = min(o.CornerC, celsius(m.air+share*share*(m.low-m.air)))
		}
		o.EdgeC, o.CornerC = min(o.EdgeC, o.ColdestC), min(o.CornerC, o.ColdestC)
		o.FrostSafe = crossing(a, m, a.ageLow(), m.ageLow(), n.frostSafe)
		o.WalkFrom = o.FrostSafe
		o.Freezes = o.CornerC < 0
	}
	for i := range o.Reaches {
		if o.Reaches[i] == Never {
			o.Reaches[i] = crossing(a, m, a.ageLow(), m.ageLow(), n.reaches[i])
		}
	}
	warm := warmPart(a.low, m.low)
	if o.StripFrom == Never {
		t := crossing(a, m, k.warmH, k.warmH+warm*dt, stripWarmH)
		if k.warmH >= stripWarmH {
			t = 0
		}
		s := crossing(a, m, a.ageLow(), m.ageLow(), n.strip)
		if a.ageLow() >= n.strip {
			s = 0
		}
		if t != Never && s != Never && o.FinalSet != Never {
			o.StripFrom = max(t, s, o.FinalSet)
		}
	}
	k.cure(m, dt)
}

// cure notes curing: hours at 10 C or more, or strength, whichever is first.
func (k *course) cure(m *moment, dt float64) {
	a, o, n := &k.last, k.out, &k.need
	warm := warmPart(a.low, m.low)
	if o.CuredBy == Never {
		o.CuredBy = min(crossing(a, m, k.warmH, k.warmH+warm*dt, n.curedWarmH),
			crossing(a, m, a.ageLow(), m.ageLow(), n.cured))
	}
	k.warmH += warm * dt
	k.last = *m
}

// window notes when finishing opens and closes. In drying weather the surface
// closes before the body does: the window then ends there, and opens half an
// hour before it (judgement), though not while bleed water stands.
func (k *course) window(a, m *moment) {
	const least = 30 * time.Minute
	o, n := k.out, &k.need
	if k.body != Never {
		return
	}
	if o.Crusts == Never {
		o.Crusts = crossing(a, m, a.drawn, m.drawn, n.crust)
	}
	k.body = crossing(a, m, a.setAge, m.setAge, n.closes)
	if k.body == Never {
		return
	}
	drawn := a.drawn
	if n := hours(m.hours) - hours(a.hours); n > 0 {
		drawn += (m.drawn - a.drawn) * float64(k.body-hours(a.hours)) / float64(n)
	}
	o.CrustRisk = crustRisk(drawn, n.crust)
	if o.Crusts > k.body {
		o.Crusts = Never
	}
	wet := min(hours(k.wetUntil), o.InitialSet)
	o.FinishUntil = min(k.body, o.Crusts)
	o.FinishFrom = max(wet, min(k.boot, time.Duration(opensLatest*float64(o.InitialSet))))
	if o.FinishFrom > o.FinishUntil-least && o.Crusts != Never {
		o.FinishFrom = min(o.FinishFrom, o.FinishUntil, max(wet, o.FinishUntil-least))
	}
}

// bleed follows the water that stands on the slab: what has come up, less
// what has evaporated and what the paste has taken back.
func (k *course) bleed(a, m *moment, dt float64) {
	n := &k.need
	left := -m.drawn - takenBackShare(m.setAge/n.initial)*n.bleedKgM2*(1+1e-9) // rounding leaves no last drop
	if left > 0 {
		k.wetUntil = m.hours
	} else if k.left > 0 {
		k.wetUntil = a.hours + dt*k.left/(k.left-left)
	}
	k.left = left
}

// dry notes evaporation until initial set.
func (k *course) dry(a, m *moment, dt float64) {
	o := k.out
	if m.evap > o.EvapPeak {
		o.EvapPeak, o.EvapPeakAt = m.evap, hours(m.hours)
	}
	o.DriedKgM2 = m.lost
	o.EvapOver1 += hours(dt * overPart(a.evap, m.evap, 1))
	for h := len(o.EvapRate); float64(h) <= m.hours+1e-9; h++ {
		o.EvapRate = append(o.EvapRate, between(a, m, a.evap, m.evap, float64(h)))
	}
}

// crossing returns when a quantity that goes from x to y within a step passes
// a mark, Never when it does not.
func crossing(a, m *moment, x, y, mark float64) time.Duration {
	if y < mark || x > mark || math.IsInf(mark, 1) {
		return Never
	}
	if y == x {
		return hours(a.hours)
	}
	return hours(a.hours + (m.hours-a.hours)*(mark-x)/(y-x))
}

// overPart is the share of a step that a quantity spends above a limit.
func overPart(x, y, limit float64) float64 {
	switch {
	case x > limit && y > limit:
		return 1
	case x <= limit && y <= limit:
		return 0
	}
	return (max(x, y) - limit) / math.Abs(y-x)
}

// warmPart is the share of a step spent at 10 C or more.
func warmPart(x, y float64) float64 {
	if x == warmC && y == warmC {
		return 1
	}
	return overPart(x, y, warmC)
}

func between(a, m *moment, x, y, h float64) float64 {
	if m.hours == a.hours {
		return y
	}
	return x + (y-x)*(h-a.hours)/(m.hours-a.hours)
}

// hours is a duration to the second: the rest is not known anyway.
func hours(h float64) time.Duration { return time.Duration(math.Round(h*3600)) * time.Second }
