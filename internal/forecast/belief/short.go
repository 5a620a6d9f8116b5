package belief

import (
	"time"

	"dryslot/internal/forecast"
)

// Parts of an hour that must be known for a product to say something of it, and
// the chance from which one that states chances alone says rain (judgement).
const (
	knownPart = 0.75
	wetChance = 0.5
)

// Short returns what a short-range product says of the present hour's rest and
// of the hours after it. An hour of which it knows too little, and everything of
// a product that is too old or whose radar does not see, is Silent.
func Short(s *forecast.ShortRange, now time.Time) (out Nowcast) {
	if s == nil || s.CheckAhead(now) != nil {
		return out
	}
	hour := now.Truncate(time.Hour)
	for k := range out {
		from, to := hour.Add(time.Duration(k)*time.Hour), hour.Add(time.Duration(k+1)*time.Hour)
		if from.Before(now) {
			from = now
		}
		out[k] = said(s.Steps, from, to)
	}
	return out
}

// said is what steps say of a span: its rain as that of an hour, so that what is
// left of the present hour is judged by its rate.
func said(steps []forecast.ShortStep, from, to time.Time) Said {
	var known, told time.Duration
	mm, chance := 0.0, 0.0
	for _, x := range steps {
		a, b := x.Start, x.Start.Add(x.Length)
		if a.Before(from) {
			a = from
		}
		if b.After(to) {
			b = to
		}
		d := b.Sub(a)
		if d <= 0 {
			continue
		}
		if x.RainMMH.Known {
			known += d
			mm += x.RainMMH.V * d.Hours()
		}
		if x.RainChance.Known {
			told += d
			chance = max(chance, x.RainChance.V)
		}
	}
	least := time.Duration(knownPart * float64(to.Sub(from)))
	switch {
	case known >= least && known > 0:
		rate := mm / known.Hours()
		switch {
		case rate >= HeavyMM:
			return SaidHeavy
		case rate >= WetMM:
			return SaidWet
		}
		return SaidDry
	case told >= least && told > 0 && chance >= wetChance:
		return SaidWet
	case told >= least && told > 0:
		return SaidDry
	}
	return Silent
}
