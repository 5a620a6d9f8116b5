package hourly

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"dryslot/internal/forecast/belief"
)

// foreseen is what would be known of a pad's harm at each coming hour, were
// each member the truth.
type foreseen struct {
	day   *Day
	rain  [][]float64 // of the members used
	prior []float64
	who   []int // members of the day
	fates [][]fate
	first int       // hour of the first run
	risk  []float64 // by member and hour: chance that a pad placed then is lost, as it is known then; above 1: it rains
	keys  []uint32  // by member and hour: what is known then, packed
	hours int
	work  int // members weighed, counted
}

// passedShare is where within an hour a simulated decision is taken to be made.
const passedShare = 0.3

// luckKept is how often an hour's luck is that of the hour before: errors of
// nowcasts go together (0.7 from hour to hour, planning rules; this share gives
// about that).
const luckKept = 0.7

// newForesight simulates what every step-th member from one on would let be known;
// nil where they have no weight.
func newForesight(d *Day, from, step int) *foreseen {
	f := &foreseen{day: d, first: int(d.Now / 60)}
	sum := 0.0
	for i := from; i < len(d.Members); i += step {
		f.who = append(f.who, i)
		f.rain = append(f.rain, d.Members[i].RainMM)
		f.prior = append(f.prior, d.Members[i].Weight)
		sum += d.Members[i].Weight
	}
	if !(sum > 0) {
		return nil
	}
	for i := range f.prior {
		f.prior[i] /= sum
	}
	last := d.Runs[len(d.Runs)-1]
	f.hours = int(last.Begin/60) - f.first + 1
	for _, p := range last.Pads {
		f.hours = max(f.hours, int(p.Place/60)-f.first+1)
	}
	f.hours = min(f.hours, len(f.rain[0])-f.first)
	f.fatesByHour()
	f.simulate()
	return f
}

// softFor returns how long a pad placed in an hour stays soft, in minutes: that
// of the first pad of the run that begins then or last before.
func (f *foreseen) softFor(hour int) float64 {
	soft := 0.0
	for _, r := range f.day.Runs {
		if soft > 0 && int(r.Begin/60) > hour {
			break
		}
		if len(r.Pads) > 0 {
			soft = r.Pads[0].Set - r.Pads[0].Place
		}
	}
	return soft
}

func (f *foreseen) fatesByHour() {
	d := f.day
	f.fates = make([][]fate, f.hours)
	for h := range f.fates {
		at := (float64(f.first+h) + passedShare) * 60
		soft := f.softFor(f.first + h)
		f.fates[h] = make([]fate, len(f.rain))
		for i, rain := range f.rain {
			f.fates[h][i] = d.fateIn(rain, at, at+soft, d.Covers.Pads > 0)
		}
	}
}

func (f *foreseen) simulate() {
	n := len(f.rain)
	e := belief.NewEvidence(f.rain, f.day.Channel)
	f.risk, f.keys = make([]float64, n*f.hours), make([]uint32, n*f.hours)
	w := make([]float64, n)
	known := map[uint32]float64{}
	all := len(f.rain[0])
	luck, begin := make([]float64, all), make([]float64, all)
	for m := range n {
		if f.prior[m] < negligible {
			continue
		}
		rnd := rand.New(rand.NewPCG(seed(f.rain[m]), 1))
		for h := range luck {
			luck[h], begin[h] = rnd.Float64(), rnd.Float64()
			if keep := rnd.Float64(); h > 0 && keep < luckKept {
				luck[h] = luck[h-1]
			}
		}
		for h := range f.hours {
			k := e.Simulate(
				m,
				f.first+h,
				passedShare,
				func(h int) float64 { return luck[h] },
				func(h int) float64 { return begin[h] },
			)
			key := k.Key()
			risk, ok := known[key]
			if !ok {
				e.Weigh(w, f.prior, &k, passedShare)
				f.work += n
				lost := 0.0
				for i, x := range w {
					lost += x * f.fates[h][i].lost
				}
				risk = lost
				if k.Raining {
					risk += raining
				}
				known[key] = risk
			}
			f.risk[m*f.hours+h], f.keys[m*f.hours+h] = risk, key
		}
	}
}

// raining is added to the risk of placing in the rain, above any threshold.
const raining = 2

// negligible is the weight below which a member is left out.
const negligible = 1e-5

func seed(rain []float64) uint64 {
	h := fnv.New64a()
	var b [8]byte
	for _, x := range rain {
		u := math.Float64bits(x)
		for i := range b {
			b[i] = byte(u >> (8 * i))
		}
		_, _ = h.Write(b[:])
	}
	return h.Sum64()
}
