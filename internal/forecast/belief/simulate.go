package belief

import "math"

// Evidence is the likelihood of what can be seen and said at an hour, for every
// member: tables that simulated decisions look up.
type Evidence struct {
	channel *Channel
	rain    [][]float64
	wet     [][]bool // by member and hour
	said    map[saidKey][]float64
}

type saidKey struct {
	k, hour int
	wet     bool
}

// NewEvidence prepares the tables for members' rain.
func NewEvidence(rain [][]float64, c *Channel) *Evidence {
	e := &Evidence{channel: c, rain: rain, wet: make([][]bool, len(rain)), said: map[saidKey][]float64{}}
	for i, r := range rain {
		e.wet[i] = make([]bool, len(r))
		for h, mm := range r {
			e.wet[i][h] = mm >= WetMM
		}
	}
	return e
}

// Wet reports whether a member is wet in an hour; not beyond its hours.
func (e *Evidence) Wet(member, hour int) bool {
	return hour >= 0 && hour < len(e.wet[member]) && e.wet[member][hour]
}

// Knowledge is what is known at an hour, as far as simulated decisions use it:
// whether it rains, which of the three hours before were wet, and which of the
// coming hours are said to be. It packs into a key.
type Knowledge struct {
	Hour    int
	Raining bool
	Before  [3]bool
	Said    [NowcastHours + 1]bool
}

// Key returns a number that tells knowledge of the same hour apart.
func (k *Knowledge) Key() uint32 {
	bits := uint32(k.Hour)
	put := func(b bool) {
		bits <<= 1
		if b {
			bits |= 1
		}
	}
	put(k.Raining)
	for _, b := range k.Before {
		put(b)
	}
	for _, b := range k.Said {
		put(b)
	}
	return bits
}

// Simulate returns what would be known at an hour, a share of which has passed,
// were a member the truth. luck gives the number from 0 to 1 of an hour: that
// which decides whether the hour is said to be wet; begin that which says when
// within it the rain begins.
func (e *Evidence) Simulate(member, hour int, passed float64, luck, begin func(hour int) float64) Knowledge {
	k := Knowledge{Hour: hour}
	for b := range k.Before {
		k.Before[b] = e.Wet(member, hour-1-b)
	}
	k.Raining = e.Wet(member, hour) && (k.Before[0] || begin(hour) < passed)
	if e.channel.none {
		return k
	}
	for a := range k.Said {
		h := hour + a
		if h >= len(e.rain[member]) || a == 0 && k.Raining {
			continue
		}
		k.Said[a] = luck(h) < e.chance(a, member, h)
	}
	return k
}

func (e *Evidence) chance(a, member, h int) float64 {
	r := e.rain[member]
	before, after := 0.0, 0.0
	if h > 0 {
		before = r[h-1]
	}
	if h+1 < len(r) {
		after = r[h+1]
	}
	return e.channel.ChanceSaid(a, before, r[h], after)
}

// Weigh fills w with the members' weights, from prior ones that sum to 1, given
// knowledge a share of whose hour has passed.
func (e *Evidence) Weigh(w, prior []float64, k *Knowledge, passed float64) {
	copy(w, prior)
	e.weighSeen(w, k, passed)
	if !e.channel.none {
		for a, said := range k.Said {
			h := k.Hour + a
			if h >= len(e.rain[0]) || a == 0 && k.Raining {
				continue
			}
			for i, l := range e.saidTable(a, h, said) {
				w[i] *= l
			}
		}
	}
	sum := 0.0
	for _, x := range w {
		sum += x
	}
	if !(sum > 0) { // nothing suits: the evidence is worth nothing
		copy(w, prior)
		return
	}
	for i := range w {
		w[i] = (1-doubt)*w[i]/sum + doubt*prior[i]
	}
}

// weighSeen weighs members by what is seen.
func (e *Evidence) weighSeen(w []float64, k *Knowledge, passed float64) {
	for b, miss := range seenMiss {
		h := k.Hour - 1 - b
		if h < 0 {
			break
		}
		for i := range w {
			if e.wet[i][h] != k.Before[b] {
				w[i] *= miss
			}
		}
	}
	dry := max(0, 1-passed)
	if k.Before[0] {
		dry = goneOnMiss
	}
	for i := range w {
		switch wet := e.Wet(i, k.Hour); {
		case k.Raining && !wet:
			w[i] *= begunMiss
		case !k.Raining && wet:
			w[i] *= dry
		}
	}
}

// saidTable returns, for every member, the likelihood of what is said.
func (e *Evidence) saidTable(a, h int, said bool) []float64 {
	key := saidKey{LeadOf(a), h, said}
	t, ok := e.said[key]
	if !ok {
		t = make([]float64, len(e.rain))
		for i := range t {
			l := e.chance(a, i, h)
			if !said {
				l = 1 - l
			}
			l = max(l, 0.001)
			if a > NextHour {
				l = math.Pow(l, e.channel.trust)
			}
			t[i] = l
		}
		e.said[key] = t
	}
	return t
}
