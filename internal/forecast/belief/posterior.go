package belief

import (
	"math"
	"slices"
)

// Seen is what has been seen at the place.
type Seen struct {
	Hour    int        // the present hour, counted from the belief's start
	Passed  float64    // share of the present hour that has passed, 0 to 1
	Raining bool       // it has begun to rain in the present hour
	Before  [3]float64 // mm in the hour before, and the two before that; NaN: not seen
}

// seenMiss is the weight of a member that is wet where it was seen dry, or dry
// where it was seen wet, one, two and three hours ago: members are right about
// the day rather than about the hour. Judgement; half and twice these
// make no difference on the training records.
var seenMiss = [3]float64{0.2, 0.4, 0.6}

const (
	begunMiss   = 0.15 // it rains and the member is dry
	goneOnMiss  = 0.02 // it was wet the hour before, has stopped, and the member is wet
	leastShare  = 0.05 // of the members that must carry weight in effect
	likelyFloor = 1e-12
	doubt       = 0.25 // share of the weights that evidence leaves alone: its errors go together
)

// Posterior returns the members' weights given what has been seen and what a
// nowcast says. Where too few members would carry nearly all the weight, the
// nowcast is softened (every likelihood raised to a power below 1) until the
// effective sample size (sum w)^2 / sum w^2 reaches leastShare of the members.
func (b *Belief) Posterior(s Seen, now Nowcast, c *Channel) []float64 {
	seen := b.weighSeen(s)
	w, like := make([]float64, len(seen)), make([]float64, len(seen))
	for i, rain := range b.Rain {
		like[i] = math.Log(max(likelyFloor, nowcastLikelihood(rain, s, now, c)))
	}
	for power := 1.0; ; power /= 2 {
		if soften(w, seen, like, power) >= leastShare*float64(len(w)) || power < 0.1 {
			for i := range w {
				w[i] = (1-doubt)*w[i] + doubt*seen[i]
			}
			b.hear(w, seen, s, now, c)
			return w
		}
	}
}

// hear raises the chance of the first hour that a nowcast calls wet to what Bayes'
// rule makes it, where softening for want of members that are wet then has left it
// lower: that there are few says how rare such rain is, not how far a nowcast of it
// can be trusted. Where no member is wet then it stays.
func (b *Belief) hear(w, seen []float64, s Seen, now Nowcast, c *Channel) {
	k := slices.IndexFunc(now[:], func(x Said) bool { return x == SaidWet || x == SaidHeavy })
	if k < 0 || k == 0 && s.Raining || s.Hour+k >= b.Hours {
		return
	}
	alone := Nowcast{}
	alone[k] = now[k]
	before, is, wet, dry := 0.0, 0.0, 0.0, 0.0
	for i, rain := range b.Rain {
		like := nowcastLikelihood(rain, s, alone, c)
		if rain[s.Hour+k] >= WetMM {
			before, is, wet = before+seen[i], is+w[i], wet+seen[i]*like
		} else {
			dry += seen[i] * like
		}
	}
	if !(is > 0 && is < 1) {
		return
	}
	wants := (1-doubt)*wet/(wet+dry) + doubt*before
	if wants <= is {
		return
	}
	for i, rain := range b.Rain {
		if rain[s.Hour+k] >= WetMM {
			w[i] *= wants / is
		} else {
			w[i] *= (1 - wants) / (1 - is)
		}
	}
}

// weighSeen returns the members' weights by what has been seen.
func (b *Belief) weighSeen(s Seen) []float64 {
	// How rain goes on says nothing of the present hour: whether it does is seen.
	before := b.weighBy(b.Weight, func(rain []float64) float64 { return beforeLikelihood(rain, s) })
	w := b.weighBy(before, func(rain []float64) float64 { return nowLikelihood(rain, s) })
	if s.Raining {
		b.follow(w, s.Hour+1, spellOf(WetMM, s.Before[0]))
	}
	return w
}

// weighBy returns weights multiplied by a likelihood, but for a share of doubt.
func (b *Belief) weighBy(weights []float64, of func(rain []float64) float64) []float64 {
	w, like := make([]float64, len(weights)), make([]float64, len(weights))
	for i, rain := range b.Rain {
		like[i] = math.Log(max(likelyFloor, of(rain)))
	}
	soften(w, weights, like, 1)
	for i := range w {
		w[i] = (1-doubt)*w[i] + doubt*weights[i]
	}
	return w
}

// soften fills w with weights times a power of the likelihood, given by its
// logarithm, and returns the effective sample size.
func soften(w, weights, like []float64, power float64) float64 {
	most := math.Inf(-1)
	for _, l := range like {
		most = max(most, l)
	}
	sum, squares := 0.0, 0.0
	for i, l := range like {
		w[i] = weights[i] * math.Exp(power*(l-most))
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
		squares += w[i] * w[i]
	}
	return 1 / squares
}

func beforeLikelihood(rain []float64, s Seen) float64 {
	x := 1.0
	for k, miss := range seenMiss {
		h := s.Hour - 1 - k
		if h < 0 || math.IsNaN(s.Before[k]) {
			break
		}
		if (rain[h] >= WetMM) != (s.Before[k] >= WetMM) {
			x *= miss
		}
	}
	return x
}

func nowLikelihood(rain []float64, s Seen) float64 {
	if s.Hour >= len(rain) {
		return 1
	}
	wet := rain[s.Hour] >= WetMM
	switch {
	case s.Raining && !wet:
		return begunMiss
	case !s.Raining && wet && s.Before[0] >= WetMM:
		return goneOnMiss
	case !s.Raining && wet:
		return max(0, 1-s.Passed)
	}
	return 1
}

func nowcastLikelihood(rain []float64, s Seen, now Nowcast, c *Channel) float64 {
	x := 1.0
	for k, said := range now {
		h := s.Hour + k
		if h >= len(rain) || k == 0 && s.Raining || said == Silent {
			continue
		}
		before, after := 0.0, 0.0
		if h > 0 {
			before = rain[h-1]
		}
		if h+1 < len(rain) {
			after = rain[h+1]
		}
		x *= c.likelihood(k, said, before, rain[h], after)
	}
	return x
}

// frequencies counts what the hours of candidates are like.
func frequencies(cands []candidate, hours int) Frequencies {
	var wet, dry, beside, onset float64
	least := Code(WetMM)
	for _, c := range cands {
		day := c.record.Codes[c.at : c.at+hours]
		for h := 1; h+1 < len(day); h++ {
			switch is, was := day[h] >= least, day[h-1] >= least; {
			case is && was:
				wet++
			case is:
				wet++
				onset++
			default:
				dry++
				if was || day[h+1] >= least {
					beside++
				}
			}
		}
	}
	// A climate without rain, or none at all, must leave the chances finite.
	const few = 0.01
	f := Frequencies{Wet: 0.06, Onset: 0.4, Beside: 0.05} // of a temperate climate
	if wet > 0 && dry > 0 {
		f = Frequencies{Wet: wet / (wet + dry), Onset: onset / wet, Beside: beside / dry}
	}
	return Frequencies{
		Wet:    min(max(f.Wet, few), 0.5),
		Onset:  min(max(f.Onset, 0.1), 0.9),
		Beside: min(max(f.Beside, few), 0.9),
	}
}
