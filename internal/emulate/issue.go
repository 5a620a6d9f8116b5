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
	return &forecast.Scenarios{Start: s.Start, Hours: s.Hours(), WetMM: forecast.DefaultWet.OverMM, Members: []forecast.Weather{w}, Tracks: 1}
}

// Issue returns the forecast issued at an instant, a whole hour: what happened
// in the 30 hours before, the same in every member, then the rest of that day
// and the given number of days after it, as members equally likely weathers.
// ok is false where the record does not cover those days, or has no other day
// of a season.
//
// Each date's members are drawn by its own signal, in equal steps through the
// weights, and handed to the weathers so that a day is followed by its own
// next day wherever that was drawn too. Members keep their own days' rain and
// humidity; their air is moved to the mean that the signal for air and the
// season make likely. Thunder is never foreseen: the records have none.
func (s *Station) Issue(n *Noise, at time.Time, days, members int) (_ *forecast.Scenarios, ok bool) {
	day0 := s.DayOf(at)
	start := at.Add(-pastHours * time.Hour)
	end := s.first.Add(time.Duration(day0+1+days) * dayHours * time.Hour)
	a, now, b := s.Index(start), s.Index(at), s.Index(end)
	if day0 < 0 || day0+days >= s.Days() || a < 0 || b > s.Hours() {
		return nil, false
	}
	sc := &forecast.Scenarios{Start: start, Hours: b - a, WetMM: forecast.DefaultWet.OverMM, Tracks: members, Members: make([]forecast.Weather, members)}
	rnd := rand.New(rand.NewPCG(s.id, uint64(at.Unix())))
	chain, air := s.chain(n, at, day0, days, members, rnd)
	if chain == nil {
		return nil, false
	}
	for m := range sc.Members {
		w := newWeather(m, b-a)
		s.past(&w, a, now)
		for h := now; h < b; h++ {
			s.hour(&w, h-a, h, day0, chain[m], air[m])
		}
		sc.Members[m] = w
	}
	return sc, true
}

func newWeather(track, hours int) forecast.Weather {
	flat := make([]float64, 6*hours)
	cut := func(i int) []float64 { return slices.Clip(flat[i*hours : (i+1)*hours]) }
	return forecast.Weather{Track: track, RainMM: cut(0), AirC: cut(1), HumidityPct: cut(2), WindMS: cut(3), CloudPct: cut(4),
		ShortwaveWM2: cut(5), Thunder: make([]bool, hours)}
}

func (s *Station) past(w *forecast.Weather, a, now int) {
	copy(w.RainMM, s.RainMM[a:now])
	copy(w.AirC, s.AirC[a:now])
	copy(w.HumidityPct, s.Humidity[a:now])
	copy(w.WindMS, s.WindMS[a:now])
	copy(w.CloudPct, s.cloud[a:now])
	copy(w.ShortwaveWM2, s.sun[a:now])
}

// chain draws each member's days, from the issue's own day on, and by how much
// each day's air is moved.
func (s *Station) chain(n *Noise, at time.Time, day0, days, members int, rnd *rand.Rand) (chain [][]int32, air [][]float64) {
	chain, air = make([][]int32, members), make([][]float64, members)
	warm := make([]float64, members) // each member's leaning, kept from day to day
	for m := range warm {
		warm[m] = rnd.NormFloat64()
	}
	var w []float64
	for k := 0; k <= days; k++ {
		d := day0 + k
		run := runOf(s.first.Add(time.Duration(d)*dayHours*time.Hour + 12*time.Hour).Sub(at).Hours())
		f, airErr := s.signal(n, d, run)
		if w = s.weights(w[:0], d, f, n[run]*widen); len(w) == 0 {
			return nil, nil
		}
		s.hand(chain, s.drawDays(w, d, members, rnd), rnd)
		mean, sd := s.airOf(d, airErr, airNoise(leadOfRun(run)))
		for m := range air {
			const kept = 0.7 // of a member's leaning from day to day (judgement)
			if k > 0 {
				warm[m] = kept*warm[m] + math.Sqrt(1-kept*kept)*rnd.NormFloat64()
			}
			air[m] = append(air[m], mean+sd*warm[m]-s.airMean[chain[m][k]])
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

// hour fills one hour of a member from its day, passing over into the next or
// from the last near midnight.
func (s *Station) hour(w *forecast.Weather, to, h, day0 int, chain []int32, air []float64) {
	rel := h - s.hourOfDay(day0)
	k, hod := rel/dayHours, rel%dayHours
	src := s.hourOfDay(int(chain[k])) + hod
	w.RainMM[to] = s.RainMM[src]
	w.CloudPct[to] = s.cloud[src]
	w.ShortwaveWM2[to] = s.clear[h] * throughCloud(s.cloud[src])
	w.AirC[to], w.HumidityPct[to], w.WindMS[to] = s.AirC[src]+air[k], s.Humidity[src], s.WindMS[src]
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
	o := s.hourOfDay(int(chain[other])) + rel - other*dayHours
	if o < 0 || o >= s.Hours() || math.IsNaN(s.AirC[o]+s.Humidity[o]+s.WindMS[o]) {
		return
	}
	w.AirC[to] += share * (s.AirC[o] + air[other] - w.AirC[to])
	w.HumidityPct[to] += share * (s.Humidity[o] - w.HumidityPct[to])
	w.WindMS[to] += share * (s.WindMS[o] - w.WindMS[to])
}
