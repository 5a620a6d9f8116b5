package concrete

import "time"

// BehaveBriefly is Behave for those who ask only for the times of setting and
// finishing, the drying until then, and whether frost comes: it stops once these
// are known. StripFrom, WalkFrom, CuredBy, Reaches, ColdestC and the two series are
// not to be read. What it gives is equal to what Behave gives. Where noFrost holds
// the caller knows that the slab can't freeze, and frost is not looked for.
func (s *Solver) BehaveBriefly(c *Casting, noFrost bool) Behaviour {
	out := Behaviour{InitialSet: Never, FinalSet: Never, FinishFrom: Never, FinishUntil: Never,
		StripFrom: Never, FrostSafe: Never, WalkFrom: Never, CuredBy: Never, Crusts: Never,
		Reaches: [3]time.Duration{Never, Never, Never}, Unknown: true}
	if !s.accept(c) {
		return out
	}
	s.start(1)
	k := &s.course
	k.begin(s.need, &out, s.now)
	last := float64(s.env.hours)
	out.Unknown = s.env.unknown
	brief := func() bool {
		return out.FinalSet != Never && out.FinishFrom != Never && out.FinishUntil != Never &&
			(noFrost || out.FrostSafe != Never || out.Freezes)
	}
	for !k.done() && !brief() && s.hour < last-1e-7 {
		s.step(s.next(k.pace()))
		out.Unknown = out.Unknown || s.env.unknown && out.FinalSet == Never
		k.step(&s.now)
	}
	return out
}
