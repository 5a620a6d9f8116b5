package forecast

import (
	"fmt"
	"math"
	"slices"

	"dryslot/internal/fault"
)

// drawEnsemble makes one weather of each member of an ensemble, its own track:
// the member's rain with its temperature, humidity, wind, cloud and sun.
//
// Where all members hold one value over three hours or more, that value is a
// block's total shared out evenly; it is shared out anew, unevenly as real
// hours are, each member's total kept. Then each hour's raw share of wet
// members, smoothed to (k+1)/(M+2), is recalibrated to a chance p, and the
// round(M p) wettest members stay wet: the lightest rain goes first. A member
// that was dry and must be wet, chosen by how near its rain is, gets a light
// amount from the records.
//
// An hour that no member knows is drawn from the run's own chance or amount,
// if it has one; a dry variable that a member lacks is taken from the run.
func drawEnsemble(f *Forecast, opt DrawOptions) (*Scenarios, error) {
	m, n := len(f.Members), len(f.Hours)
	if err := checkSeries(f); err != nil {
		return nil, err
	}
	cal := opt.Recalibration
	if cal == nil {
		cal = PriorEnsemble()
	}
	s, order := drawMembers(f, opt, m)
	rain := rainOf(f)
	shareOut(f, rain)
	keep := make([]ranked, 0, m)
	for h := range n {
		wet := 0
		keep, wet = rankedIn(rain, order[h], h, s.WetMM, keep[:0])
		if len(keep) == 0 {
			continue // the rain of this hour stays that of the run
		}
		for i := range s.Members {
			s.Members[i].RainMM[h] = math.NaN()
		}
		k := len(keep)
		p := cal.Apply(float64(wet+1)/float64(k+2), f.lead(f.Hours[h].Start))
		s.moisten(keep, h, wet, roundChance(p, k), f.signsOf(h, p).Amounts(cal.heavyHere()))
		thunderOf(s, keep, h, roundChance(f.Hours[h].Values[ThunderChance].Or(0), k))
	}
	return s, nil
}

// checkSeries refuses members that have another number of hours.
func checkSeries(f *Forecast) error {
	for i := range f.Members {
		for v, series := range f.Members[i].Values {
			if n := len(f.Hours); series != nil && len(series) != n {
				var bad fault.List
				bad.Add(fmt.Sprintf("Members[%d].%s", i, Names[v]), fmt.Sprint(len(series)),
					fmt.Sprintf("must have %d values, one an hour", n))
				return bad.Err("this ensemble can't be turned into scenarios")
			}
		}
	}
	return nil
}

// rankedIn appends the members that know an hour's rain, the wettest first, and
// counts the wet ones.
func rankedIn(rain [][]float64, order []int32, h int, wetMM float64, keep []ranked) (_ []ranked, wet int) {
	for pos, i := range order {
		x := rain[i][h]
		if math.IsNaN(x) {
			continue
		}
		if x > wetMM {
			wet++
		}
		keep = append(keep, ranked{member: int(i), mm: x, near: nearRain(rain[i], h), pos: pos})
	}
	wettestFirst(keep)
	return keep, wet
}

// moisten leaves so many of an hour's members wet as wanted, the wettest; those
// that were dry get light rain.
func (s *Scenarios) moisten(keep []ranked, h, wet, want int, am Amounts) {
	light := math.Inf(1)
	if wet > 0 {
		light = keep[wet-1].mm
	}
	for rank, r := range keep {
		x := r.mm
		switch {
		case rank >= want:
			x = min(x, s.WetMM)
		case x <= s.WetMM:
			x = min(light, am.exceeded((float64(rank)+0.5)/float64(want), s.WetMM))
		}
		s.Members[r.member].RainMM[h] = x
	}
}

func thunderOf(s *Scenarios, keep []ranked, h, count int) {
	for i := range s.Members {
		s.Members[i].Thunder[h] = false
	}
	for _, r := range keep[:count] {
		s.Members[r.member].Thunder[h] = true
	}
}

// drawMembers draws as many members from the run itself, each its own track
// with the ensemble member's dry weather, and ranks them in every hour.
func drawMembers(f *Forecast, opt DrawOptions, m int) (*Scenarios, [][]int32) {
	run := *f
	run.Members = nil
	opt.Members, opt.Tracks, opt.Recalibration = m, 1, nil
	s := drawRun(&run, opt)
	s.Tracks = m
	base := trackOf(f, nil, 0)
	for i := range s.Members {
		w := &s.Members[i]
		own := func(v Variable, run []float64) []float64 {
			series := f.Members[i].Values[v]
			if series == nil {
				return run
			}
			out := slices.Clone([]float64(series))
			for h := range out {
				if math.IsNaN(out[h]) {
					out[h] = run[h]
				}
			}
			return out
		}
		w.Track = i
		w.AirC = own(AirC, base.AirC)
		w.HumidityPct = own(HumidityPct, base.HumidityPct)
		w.WindMS = own(WindMS, base.WindMS)
		w.CloudPct = own(CloudPct, base.CloudPct)
		w.ShortwaveWM2 = own(ShortwaveWM2, base.ShortwaveWM2)
	}
	order := latentOrder(f, m, recordsAt(f.Cell.Latitude).phi(f, opt), func(int) bool { return true })
	return s, order
}

// ranked is one member in one hour.
type ranked struct {
	member int
	mm     float64
	near   float64 // rain of the hours around
	pos    int     // rank in the latent order
}

func wettestFirst(r []ranked) {
	slices.SortFunc(r, func(a, b ranked) int {
		switch {
		case a.mm != b.mm:
			return sign(b.mm - a.mm)
		case a.near != b.near:
			return sign(b.near - a.near)
		}
		return a.pos - b.pos
	})
}

func sign(x float64) int {
	if x < 0 {
		return -1
	}
	return 1
}

// nearRain weighs a member's rain of the three hours before and after.
func nearRain(mm []float64, h int) float64 {
	sum := 0.0
	for d := 1; d <= 3; d++ {
		for _, j := range []int{h - d, h + d} {
			if j >= 0 && j < len(mm) && mm[j] > 0 {
				sum += mm[j] / float64(d)
			}
		}
	}
	return sum
}

// rainOf copies the members' rain; NaN where it is unknown.
func rainOf(f *Forecast) [][]float64 {
	out := make([][]float64, len(f.Members))
	for i := range out {
		if series := f.Members[i].Values[RainMM]; series != nil {
			out[i] = slices.Clone([]float64(series))
			continue
		}
		out[i] = make([]float64, len(f.Hours))
		for h := range out[i] {
			out[i][h] = math.NaN()
		}
	}
	return out
}

// Longest and shortest runs of equal hours that are taken as one block.
const (
	longestBlock  = 12
	shortestBlock = 3
)

// shareOut shares each block's total out over its hours.
func shareOut(f *Forecast, rain [][]float64) {
	n := len(f.Hours)
	for a := 0; a < n; {
		b := a + 1
		for b < n && b-a < longestBlock && sameInAll(rain, b-1, b) {
			b++
		}
		if b-a >= shortestBlock {
			shareBlock(f, rain, a, b)
		}
		a = b
	}
}

func sameInAll(rain [][]float64, g, h int) bool {
	for i := range rain {
		x, y := rain[i][g], rain[i][h]
		if x != y && !(math.IsNaN(x) && math.IsNaN(y)) {
			return false
		}
	}
	return true
}

// shareBlock shares the total of hours [a, b) out by the squares of exponential
// numbers, seeded by cell and date: the wettest of three hours then holds
// about two thirds, as it does in the records.
func shareBlock(f *Forecast, rain [][]float64, a, b int) {
	start := f.Hours[a].Start.UTC()
	rnd := seedFor(f.Cell, start, fmt.Sprint("block", start.Hour()))
	share := make([]float64, b-a)
	for i := range rain {
		sum := 0.0
		for k := range share {
			e := rnd.ExpFloat64()
			share[k] = e * e
			sum += share[k]
		}
		total := rain[i][a] * float64(b-a)
		if !(total > 0) {
			continue
		}
		for k := range share {
			rain[i][a+k] = total * share[k] / sum
		}
	}
}
