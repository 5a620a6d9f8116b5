package forecast

import (
	"encoding/json"
	"fmt"
	"math"
	"time"
)

// Counts is a reliability table: what came of stated chances, by lead and by
// how high they were, in whole numbers, so that sums are exact. Two folds, the
// even and the odd weeks, keep apart what a correction is learned from and
// what it is judged by. The zero value has counted nothing.
type Counts struct {
	First, Last time.Time // of the hours counted; zero: none
	Of          [NumLeads][2][chanceBins]Count
	Heavy       [12]HeavyCount // of the place's wet hours, by month
	Amounts     AmountCounts   // of the place's wet hours
}

// Count is what came of chances that lie near each other. Chances count in
// steps of 1/ChanceSteps.
type Count struct {
	Pairs, Wet int64
	Sum        int64 // of the chances
	Squares    int64 // of the chances
	SumWet     int64 // of the chances that rain followed
}

// binEnds are the ends of the bins in steps: tenths, the lowest cut finer,
// since most chances lie there.
var binEnds = [...]byte{3, 9, 19, 39, 59, 79, 99, 119, 139, 159, 179, 200}

const chanceBins = len(binEnds)

func binOf(step byte) int {
	i := 0
	for step > binEnds[i] {
		i++
	}
	return i
}

// foldOf returns 0 in even weeks since 1970, 1 in odd ones.
func foldOf(t time.Time) int { return int(t.Unix() / (7 * 24 * 3600) & 1) }

// Add counts one pair: a chance in steps, 0 to ChanceSteps, stated at a lead
// in a band of Leads for the hour target, and what came of it.
func (c *Counts) Add(band int, target time.Time, step byte, wet bool) {
	if step > ChanceSteps || band < 0 || band >= NumLeads {
		return
	}
	n, s := &c.Of[band][foldOf(target)][binOf(step)], int64(step)
	n.Pairs++
	n.Sum += s
	n.Squares += s * s
	if wet {
		n.Wet++
		n.SumWet += s
	}
	c.span(target, target)
}

// AddPair counts a pair whose lead lies in one of the bands of Leads.
func (c *Counts) AddPair(p Pair) {
	if band, ok := bandOf(p.Lead); ok && p.Chance >= 0 && p.Chance <= 1 {
		c.Add(band, p.Target, byte(math.Round(p.Chance*ChanceSteps)), p.Wet)
	}
}

func (c *Counts) span(first, last time.Time) {
	if c.First.IsZero() || (!first.IsZero() && first.Before(c.First)) {
		c.First = first.UTC()
	}
	if last.After(c.Last) {
		c.Last = last.UTC()
	}
}

// Merge adds what another table has counted.
func (c *Counts) Merge(o *Counts) {
	for i := range c.Of {
		for j := range c.Of[i] {
			for k := range c.Of[i][j] {
				c.Of[i][j][k].add(o.Of[i][j][k])
			}
		}
	}
	for i := range c.Heavy {
		c.Heavy[i].add(o.Heavy[i])
	}
	c.Amounts.add(&o.Amounts)
	c.span(o.First, o.Last)
}

func (n *Count) add(o Count) {
	n.Pairs += o.Pairs
	n.Wet += o.Wet
	n.Sum += o.Sum
	n.Squares += o.Squares
	n.SumWet += o.SumWet
}

// Pairs returns how many pairs were counted.
func (c *Counts) Pairs() (n int64) {
	for i := range c.Of {
		n += int64(c.Score(i).Pairs)
	}
	return n
}

// Score returns how good the stated chances of one band were.
func (c *Counts) Score(band int) Score {
	var all, open Count
	var bins []Bin
	for k := range chanceBins {
		var n Count
		n.add(c.Of[band][0][k])
		n.add(c.Of[band][1][k])
		all.add(n)
		open.add(n)
		if open.Pairs >= leastInBin {
			bins, open = append(bins, open.bin()), Count{}
		}
	}
	if open.Pairs > 0 {
		bins = append(bins, open.bin())
	}
	if all.Pairs == 0 {
		return Score{}
	}
	n, wet := float64(all.Pairs), float64(all.Wet)
	s := Score{Pairs: int(all.Pairs), Gap: Gap(bins)}
	s.Brier = (float64(all.Squares)/(ChanceSteps*ChanceSteps) - 2*float64(all.SumWet)/ChanceSteps + wet) / n
	s.Climate = wet / n * (1 - wet/n)
	s.Bias = float64(all.Sum)/ChanceSteps/n - wet/n
	if s.Climate > 0 {
		s.Skill = 1 - s.Brier/s.Climate
	}
	return s
}

// Bins returns what came of one band's chances, the lowest first, in tenths of
// them and the lowest tenth in three; empty ones are left out.
func (c *Counts) Bins(band int) []Bin {
	var bins []Bin
	for k := range chanceBins {
		n := c.Of[band][0][k]
		n.add(c.Of[band][1][k])
		if n.Pairs > 0 {
			bins = append(bins, n.bin())
		}
	}
	return bins
}

func (n Count) bin() Bin {
	return Bin{Chance: float64(n.Sum) / ChanceSteps / float64(n.Pairs), Pairs: int(n.Pairs), Wet: int(n.Wet)}
}

// CountDue counts what came of the chances that earlier forecasts stated for
// the hours from from until before to, as far as that is known: for every hour
// and band of leads one pair, of the forecast nearest to the band's middle, so
// that many forecasts of the same run count once. All must be of the same
// event; to may not be later than the end of what has settled less the
// event's period.
func CountDue(stated []Stated, rain *Rain, from, to time.Time) *Counts {
	out := &Counts{}
	for t := from; t.Before(to); t = t.Add(time.Hour) {
		var best [NumLeads]struct {
			step byte
			off  time.Duration
			some bool
			wet  WetEvent
		}
		for i := range stated {
			s := &stated[i]
			at := int(t.Sub(s.Start) / time.Hour)
			band, ok := bandOf(t.Sub(s.At))
			if !ok || t.Before(s.Start) || at >= len(s.Chances) || s.Chances[at] == Unstated {
				continue
			}
			off := (t.Sub(s.At) - middleOf(band)).Abs()
			if b := &best[band]; !b.some || off < b.off {
				b.step, b.off, b.some, b.wet = s.Chances[at], off, true, s.Wet
			}
		}
		for band, b := range best {
			if !b.some {
				continue
			}
			if wet, known := rain.Wet(b.wet, t); known {
				out.Add(band, t, b.step, wet)
			}
		}
	}
	out.countWet(stated, rain, from, to)
	return out
}

// countsDocument is a table as it is stored: a row of numbers for each count
// that is not empty.
type countsDocument struct {
	First time.Time  `json:"first"`
	Last  time.Time  `json:"last"`
	Steps int        `json:"steps"`
	Bins  int        `json:"bins"`
	Rows  [][8]int64 `json:"rows"`            // band, fold, bin, pairs, wet, sum, squares, sum of the wet
	Heavy [][4]int64 `json:"heavy,omitempty"` // month from 0 on, wet, came, stated
	// Bin, wet hours, then stated, came, stated squares, came squares and products.
	Amounts [][7]int64 `json:"amounts_stated,omitempty"`
}

// mostPairs keeps sums within an int64: a million cells for a thousand years.
const mostPairs = 1 << 43

// canBe reports whether there are chances and outcomes that add up to the count.
func (n Count) canBe() bool {
	dry, sumDry := n.Pairs-n.Wet, n.Sum-n.SumWet
	if n.Pairs < 1 || n.Pairs > mostPairs || n.Wet < 0 || dry < 0 || n.SumWet < 0 || n.SumWet > n.Wet*ChanceSteps ||
		sumDry < 0 ||
		sumDry > dry*ChanceSteps {
		return false
	}
	least := 0.0 // squares are fewest where all chances of an outcome are the same
	if n.Wet > 0 {
		least += float64(n.SumWet) * float64(n.SumWet) / float64(n.Wet)
	}
	if dry > 0 {
		least += float64(sumDry) * float64(sumDry) / float64(dry)
	}
	return float64(n.Squares) >= least*(1-1e-9) && n.Squares <= n.Sum*ChanceSteps
}

// MarshalJSON writes what was counted, without the empty counts.
func (c Counts) MarshalJSON() ([]byte, error) {
	d := countsDocument{First: c.First, Last: c.Last, Steps: ChanceSteps, Bins: chanceBins, Rows: [][8]int64{}}
	for i := range c.Of {
		for j := range c.Of[i] {
			for k, n := range c.Of[i][j] {
				if n.Pairs > 0 {
					d.Rows = append(d.Rows,
						[8]int64{int64(i), int64(j), int64(k), n.Pairs, n.Wet, n.Sum, n.Squares, n.SumWet})
				}
			}
		}
	}
	for k, n := range c.Heavy {
		if n.Wet > 0 {
			d.Heavy = append(d.Heavy, [4]int64{int64(k), n.Wet, n.Came, n.Stated})
		}
	}
	for k, n := range c.Amounts {
		if n.Wet > 0 {
			d.Amounts = append(d.Amounts,
				[7]int64{int64(k), n.Wet, n.Stated, n.Came, n.StatedSquares, n.CameSquares, n.Products})
		}
	}
	return json.Marshal(d)
}

// UnmarshalJSON reads what MarshalJSON wrote, and refuses a table whose steps
// or bins are others, or whose counts can't be.
func (c *Counts) UnmarshalJSON(b []byte) error {
	var d countsDocument
	if err := json.Unmarshal(b, &d); err != nil {
		return err
	}
	if d.Steps != ChanceSteps || d.Bins != chanceBins {
		return fmt.Errorf(
			"forecast: counts in %d steps and %d bins, want %d and %d",
			d.Steps,
			d.Bins,
			ChanceSteps,
			chanceBins,
		)
	}
	out := Counts{First: d.First, Last: d.Last}
	for i, r := range d.Rows {
		n := Count{Pairs: r[3], Wet: r[4], Sum: r[5], Squares: r[6], SumWet: r[7]}
		if r[0] < 0 || r[0] >= NumLeads || r[1] < 0 || r[1] > 1 || r[2] < 0 || r[2] >= int64(chanceBins) {
			return fmt.Errorf("forecast: row %d of the counts lies outside the table", i)
		}
		if !n.canBe() {
			return fmt.Errorf("forecast: row %d of the counts can't be", i)
		}
		out.Of[r[0]][r[1]][r[2]] = n
	}
	for i, r := range d.Heavy {
		n := HeavyCount{Wet: r[1], Came: r[2], Stated: r[3]}
		if r[0] < 0 || r[0] >= int64(len(out.Heavy)) || !n.canBe() {
			return fmt.Errorf("forecast: row %d of the heavy hours can't be", i)
		}
		out.Heavy[r[0]] = n
	}
	for i, r := range d.Amounts {
		n := AmountCount{r[1], r[2], r[3], r[4], r[5], r[6]}
		if r[0] < 0 || r[0] >= int64(len(out.Amounts)) || !n.canBe(r[0]*amountBin, (r[0]+1)*amountBin-1) {
			return fmt.Errorf("forecast: row %d of the amounts can't be", i)
		}
		out.Amounts[r[0]] = n
	}
	*c = out
	return nil
}
