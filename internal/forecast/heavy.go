package forecast

import (
	"math"
	"slices"
	"time"
)

// HeavyCount is what came of the wet hours of a place: whole numbers, so that
// sums are exact.
type HeavyCount struct {
	Wet    int64 // hours with more than 0.1 mm
	Came   int64 // of them with HeavyMM or more
	Stated int64 // the sum of the stated shares, in steps of 1/ChanceSteps
}

func (n *HeavyCount) add(o HeavyCount) {
	n.Wet, n.Came, n.Stated = n.Wet+o.Wet, n.Came+o.Came, n.Stated+o.Stated
}

// canBe reports whether there are hours that add up to the count.
func (n HeavyCount) canBe() bool {
	return n.Wet >= 0 && n.Wet <= mostPairs && n.Came >= 0 && n.Came <= n.Wet &&
		n.Stated >= 0 && n.Stated <= n.Wet*ChanceSteps
}

// What is learned of a place's heavy rain: months count less the further they lie
// from the one at hand, and the records count as so many wet hours of the place.
// Chosen on the first of every two blocks of 28 days of the records.
var heavyMonths = [...]float64{1, 0.8, 0.6, 0.4, 0.2}

const heavyPrior = 20

// heavyLearned returns how much -ln of the stated share of heavy hours is to be
// multiplied at the place; 0 where no wet hour was counted.
func (c *Counts) heavyLearned() float64 {
	var wet, came, stated float64
	month := int(c.Last.UTC().Month()) - 1
	for k, n := range c.Heavy {
		apart := (k - month + 12) % 12
		if apart = min(apart, 12-apart); apart < len(heavyMonths) {
			w := heavyMonths[apart]
			wet += w * float64(n.Wet)
			came += w * float64(n.Came)
			stated += w * float64(n.Stated) / ChanceSteps
		}
	}
	if !(wet > 0 && stated > 0 && stated < wet) {
		return 0
	}
	mean := stated / wet
	return math.Log((came+heavyPrior*mean)/(wet+heavyPrior)) / math.Log(mean)
}

// countWet counts the wet hours from from until before to by the share of heavy
// ones and by the amount that the last forecast before each one stated.
func (c *Counts) countWet(stated []Stated, rain *Rain, from, to time.Time) {
	for t := from; t.Before(to); t = t.Add(time.Hour) {
		mm := rain.at(t)
		if !(mm > DefaultWet.OverMM) {
			continue
		}
		step, amount, last := Unstated, Unstated, time.Time{}
		for i := range stated {
			s := &stated[i]
			at := int(t.Sub(s.Start) / time.Hour)
			if t.Before(s.Start) || at >= len(s.Heavy) || s.Heavy[at] == Unstated || s.At.Before(last) {
				continue
			}
			step, amount, last = s.Heavy[at], Unstated, s.At
			if at < len(s.Amounts) {
				amount = s.Amounts[at]
			}
		}
		if step == Unstated {
			continue
		}
		n := HeavyCount{Wet: 1, Stated: int64(step)}
		if mm >= HeavyMM {
			n.Came = 1
		}
		c.Heavy[t.UTC().Month()-1].add(n)
		if amount != Unstated {
			c.Amounts.count(amount, amountOf(mm))
		}
	}
}

// putHeavy fills the shares of heavy hours that a run states, and its amounts, for
// the hours whose chances it states.
func (s *Stated) putHeavy(f *Forecast) {
	s.Heavy = slices.Repeat([]byte{Unstated}, len(s.Chances))
	s.Amounts = slices.Clone(s.Heavy)
	for i := range f.Hours {
		c := f.Hours[i].Get(RainChance)
		at := int(f.Hours[i].Start.Sub(s.Start) / time.Hour)
		if c.Known && !f.Hours[i].Start.Before(s.Start) && at < len(s.Heavy) {
			s.Heavy[at] = byte(math.Round(f.signsOf(i, c.V).Heavy() * ChanceSteps))
			if mm := f.amountAbout(i); mm.Known {
				s.Amounts[at] = amountOf(mm.V)
			}
		}
	}
}
