package emulate

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"dryslot/internal/forecast"
)

// pastHours is how much of what has happened a forecast carries before its
// issue, for the night's puddles and a frozen base.
const pastHours = 30

// blendHours is how long before and after midnight one day's air, humidity and
// wind pass into the next day's.
const blendHours = 3

// Truth returns the station's whole record as the one weather that happened,
// with cloud and sun as of sky.go.
func (s *Station) Truth() *forecast.Scenarios {
	w := forecast.Weather{RainMM: s.RainMM, AirC: s.AirC, HumidityPct: s.Humidity, WindMS: s.WindMS,
		CloudPct: s.cloud, ShortwaveWM2: s.sun, Thunder: make([]bool, s.Hours())}
	return &forecast.Scenarios{
		Start:   s.Start,
		Hours:   s.Hours(),
		WetMM:   forecast.DefaultWet.OverMM,
		Members: []forecast.Weather{w},
		Tracks:  1,
	}
}

// Extent is how far a forecast reaches and how finely.
type Extent struct {
	Days    int // dates after the day of issue
	Members int
	Tracks  int // different dry weathers that the members share, 1 to Members; 0: each its own
}

// Issue returns the forecast issued at an instant, a whole hour: what happened
// in the 30 hours before, the same in every member, then the rest of that day
// and the dates after it, as equally likely weathers. ok is false where the
// record does not cover those days, or has no other day of a season.
//
// Each date's members are drawn by its own signal, in equal steps through the
// weights, and handed to the weathers so that a day is followed by its own
// next day wherever that was drawn too. Members keep their own days' rain and
// humidity; their air is moved to the mean that the signal for air and the
// season make likely. Thunder is never foreseen: the records have none.
func (s *Station) Issue(n *Noise, at time.Time, x Extent) (_ *forecast.Scenarios, ok bool) {
	day0 := s.DayOf(at)
	start := at.Add(-pastHours * time.Hour)
	end := s.first.Add(time.Duration(day0+1+x.Days) * dayHours * time.Hour)
	a, now, b := s.Index(start), s.Index(at), s.Index(end)
	if day0 < 0 || day0+x.Days >= s.Days() || a < 0 || b > s.Hours() {
		return nil, false
	}
	if x.Tracks == 0 {
		x.Tracks = x.Members
	}
	sc := &forecast.Scenarios{
		Start:   start,
		Hours:   b - a,
		WetMM:   forecast.DefaultWet.OverMM,
		Tracks:  x.Tracks,
		Members: make([]forecast.Weather, x.Members),
	}
	chain, air := s.chain(n, at, day0, x.Days, x.Members)
	if chain == nil {
		return nil, false
	}
	tracks := make([]*forecast.Weather, x.Tracks)
	for m := range sc.Members {
		t := m
		if x.Tracks < x.Members {
			t = m / 2 % x.Tracks // both halves of the members, however cut, see every track
		}
		if tracks[t] == nil {
			tracks[t] = s.dry(t, a, now, b, day0, chain[m], air[m])
		}
		w := *tracks[t]
		w.RainMM = make([]float64, b-a)
		copy(w.RainMM, s.RainMM[a:now])
		for h := now; h < b; h++ {
			rel := h - s.hourOfDay(day0)
			o, k := s.peer(chain[m][rel/dayHours])
			w.RainMM[h-a] = o.RainMM[o.hourOfDay(k)+rel%dayHours]
		}
		sc.Members[m] = w
	}
	return sc, true
}

// dry fills a weather's other variables from one member's days.
func (s *Station) dry(track, a, now, b, day0 int, chain []int32, air []float64) *forecast.Weather {
	n := b - a
	flat := make([]float64, 5*n)
	cut := func(i int) []float64 { return slices.Clip(flat[i*n : (i+1)*n]) }
	w := &forecast.Weather{
		Track:        track,
		AirC:         cut(0),
		HumidityPct:  cut(1),
		WindMS:       cut(2),
		CloudPct:     cut(3),
		ShortwaveWM2: cut(4),
		Thunder:      make([]bool, n),
	}
	copy(w.AirC, s.AirC[a:now])
	copy(w.HumidityPct, s.Humidity[a:now])
	copy(w.WindMS, s.WindMS[a:now])
	copy(w.CloudPct, s.cloud[a:now])
	copy(w.ShortwaveWM2, s.sun[a:now])
	for h := now; h < b; h++ {
		s.hour(w, h-a, h, day0, chain, air)
	}
	return w
}

// chain draws each member's days, from the issue's own day on, and by how much
// each day's air is moved.
func (s *Station) chain(n *Noise, at time.Time, day0, days, members int) (chain [][]int32, air [][]float64) {
	rnd := rand.New(rand.NewPCG(s.id, uint64(at.Unix())))
	chain, air = make([][]int32, members), make([][]float64, members)
	warm := make([]float64, members) // each member's leaning, kept from day to day
	for m := range warm {
		warm[m] = rnd.NormFloat64()
	}
	var w []float64
	for k := 0; k <= days; k++ {
		d := day0 + k
		run := s.runFor(at, d)
		f, airErr := s.signal(n, d, run)
		if w = s.weights(w[:0], n, d, run, f); len(w) == 0 {
			return nil, nil
		}
		s.hand(chain, s.drawDays(w, d, members, rnd), rnd)
		mean, sd := s.airOf(d, airErr, airNoise(leadOfRun(run)))
		for m := range air {
			const kept = 0.7 // of a member's leaning from day to day (judgement)
			if k > 0 {
				warm[m] = kept*warm[m] + math.Sqrt(1-kept*kept)*rnd.NormFloat64()
			}
			o, day := s.peer(chain[m][k])
			air[m] = append(air[m], mean+sd*warm[m]-o.airMean[day])
		}
	}
	return chain, air
}

// drawDays takes members days in equal steps through the weights.
func (s *Station) drawDays(w []float64, d, members int, rnd *rand.Rand) []int32 {
	out := make([]int32, 0, members)
	at := rnd.Float64() / float64(members)
	sum := 0.0
	for i, x := range w {
		sum += x
		for len(out) < members && at < sum {
			out = append(out, s.season[d][i])
			at += 1 / float64(members)
		}
	}
	for len(out) < members { // rounding at the end of the sum
		out = append(out, s.season[d][len(w)-1])
	}
	return out
}

// hand gives each member one of the days drawn: its last day's own next day
// where that is among them, else any.
func (s *Station) hand(chain [][]int32, drawn []int32, rnd *rand.Rand) {
	rnd.Shuffle(len(drawn), func(i, j int) { drawn[i], drawn[j] = drawn[j], drawn[i] })
	left := make(map[int32]int, len(drawn))
	for _, k := range drawn {
		left[k]++
	}
	waiting := make([]int, 0, len(chain))
	for m := range chain {
		if c := chain[m]; len(c) > 0 && left[c[len(c)-1]+1] > 0 {
			next := c[len(c)-1] + 1
			left[next]--
			chain[m] = append(c, next)
			continue
		}
		waiting = append(waiting, m)
	}
	for _, k := range drawn {
		if left[k] == 0 {
			continue
		}
		left[k]--
		chain[waiting[0]] = append(chain[waiting[0]], k)
		waiting = waiting[1:]
	}
}

// airOf returns mean and standard deviation of a day's mean air temperature
// given a signal that errs by airErr: the signal drawn towards the season.
func (s *Station) airOf(d int, airErr, noise float64) (mean, sd float64) {
	truth := s.airMean[d]
	if math.IsNaN(truth) {
		truth = s.airNorm[d]
	}
	g := s.airSD * s.airSD / (s.airSD*s.airSD + noise*noise)
	return s.airNorm[d] + g*(truth+airErr-s.airNorm[d]), math.Sqrt(g) * noise
}

// hour fills one dry hour of a member from its day, passing over into the next
// or from the last near midnight.
func (s *Station) hour(w *forecast.Weather, to, h, day0 int, chain []int32, air []float64) {
	rel := h - s.hourOfDay(day0)
	k, hod := rel/dayHours, rel%dayHours
	of, day := s.peer(chain[k])
	src := of.hourOfDay(day) + hod
	w.CloudPct[to] = of.cloud[src]
	w.ShortwaveWM2[to] = s.clear[h] * throughCloud(of.cloud[src])
	w.AirC[to], w.HumidityPct[to], w.WindMS[to] = of.AirC[src]+air[k], of.Humidity[src], of.WindMS[src]
	other := 0
	var share float64 // of the neighbouring day
	switch {
	case hod < blendHours && k > 0:
		other, share = k-1, 0.5*(1-(float64(hod)+0.5)/blendHours)
	case hod >= dayHours-blendHours && k+1 < len(chain):
		other, share = k+1, 0.5*(1-(float64(dayHours-hod)-0.5)/blendHours)
	default:
		return
	}
	of, day = s.peer(chain[other])
	o := of.hourOfDay(day) + rel - other*dayHours
	if o < 0 || o >= of.Hours() || math.IsNaN(of.AirC[o]+of.Humidity[o]+of.WindMS[o]) {
		return
	}
	w.AirC[to] += share * (of.AirC[o] + air[other] - w.AirC[to])
	w.HumidityPct[to] += share * (of.Humidity[o] - w.HumidityPct[to])
	w.WindMS[to] += share * (of.WindMS[o] - w.WindMS[to])
}
