package forecast

import (
	"slices"
	"time"
)

// Pair is one stated chance and what came of it.
type Pair struct {
	Chance float64 // 0 to 1
	Wet    bool
	Lead   time.Duration
	Target time.Time
}

// Score is how good a set of stated chances was.
type Score struct {
	Pairs   int
	Brier   float64 // mean squared difference of chance and outcome, 0 best, 1 worst (AMS Glossary)
	Climate float64 // that of always stating the share of wet outcomes
	Skill   float64 // 1 - Brier/Climate; 0 where every outcome was the same
	Gap     float64 // weighted mean distance of stated chance and outcomes, over bins
	Bias    float64 // mean chance less share of wet outcomes
}

// Bin is the pairs whose stated chances lie near each other.
type Bin struct {
	Chance float64 // mean stated
	Pairs  int
	Wet    int
}

// Frequency returns the share of wet outcomes.
func (b Bin) Frequency() float64 { return float64(b.Wet) / float64(b.Pairs) }

// Brier returns the mean squared difference of chance and outcome.
func Brier(pairs []Pair) float64 {
	sum := 0.0
	for _, p := range pairs {
		d := p.Chance
		if p.Wet {
			d--
		}
		sum += d * d
	}
	return sum / float64(len(pairs))
}

// Bins sorts pairs into tenths of stated chance; a tenth with fewer than least
// pairs is joined to its neighbour above, the last to the one below. So every
// bin holds least pairs or more, unless there are fewer in all.
func Bins(pairs []Pair, least int) []Bin {
	const tenths = 10
	sorted := slices.Clone(pairs)
	slices.SortStableFunc(sorted, func(a, b Pair) int {
		switch {
		case a.Chance < b.Chance:
			return -1
		case a.Chance > b.Chance:
			return 1
		}
		return 0
	})
	var bins []Bin
	var open Bin
	var sum float64
	tenth := func(p Pair) int { return min(tenths-1, int(p.Chance*tenths)) }
	for i, p := range sorted {
		open.Pairs++
		sum += p.Chance
		if p.Wet {
			open.Wet++
		}
		last := i == len(sorted)-1
		if !last && (tenth(sorted[i+1]) == tenth(p) || open.Pairs < least) {
			continue
		}
		open.Chance = sum / float64(open.Pairs)
		if last && open.Pairs < least && len(bins) > 0 {
			b := &bins[len(bins)-1]
			total := b.Pairs + open.Pairs
			b.Chance = (b.Chance*float64(b.Pairs) + sum) / float64(total)
			b.Pairs, b.Wet = total, b.Wet+open.Wet
			break
		}
		bins = append(bins, open)
		open, sum = Bin{}, 0
	}
	return bins
}

// leastInBin is how many pairs make a frequency worth comparing.
const leastInBin = 200

// Gap returns the mean distance of stated chance and share of wet outcomes
// over bins, weighted by their pairs.
func Gap(bins []Bin) float64 {
	sum, n := 0.0, 0
	for _, b := range bins {
		d := b.Chance - b.Frequency()
		sum += float64(b.Pairs) * max(d, -d)
		n += b.Pairs
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// ScoreOf scores pairs; the zero Score where there are none.
func ScoreOf(pairs []Pair) Score {
	if len(pairs) == 0 {
		return Score{}
	}
	s := Score{Pairs: len(pairs), Brier: Brier(pairs), Gap: Gap(Bins(pairs, leastInBin))}
	wet, stated := 0.0, 0.0
	for _, p := range pairs {
		stated += p.Chance
		if p.Wet {
			wet++
		}
	}
	n := float64(len(pairs))
	base := wet / n
	s.Climate = base * (1 - base)
	s.Bias = stated/n - base
	if s.Climate > 0 {
		s.Skill = 1 - s.Brier/s.Climate
	}
	return s
}

// ByLead scores pairs band by band of their lead, given ascending.
func ByLead(pairs []Pair, bands []time.Duration) []Score {
	out := make([]Score, len(bands))
	from := time.Duration(-1)
	for i, upTo := range bands {
		var in []Pair
		for _, p := range pairs {
			if p.Lead > from && p.Lead <= upTo {
				in = append(in, p)
			}
		}
		out[i] = ScoreOf(in)
		from = upTo
	}
	return out
}
