package forecast

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// runFor makes an invented run of n hours with clustered chances and amounts.
func runFor(rnd *rand.Rand, n int) *Forecast {
	start := time.Date(2026, time.Month(1+rnd.IntN(12)), 1+rnd.IntN(28), rnd.IntN(24), 0, 0, 0, time.UTC)
	f := &Forecast{Cell: place.CellOf(-60+120*rnd.Float64(), 170*rnd.Float64()), Wet: DefaultWet,
		Sources: []Source{{Feed: "invented", FetchedAt: start}}, Hours: make([]Hour, n)}
	level := rnd.NormFloat64()
	for i := range f.Hours {
		level = 0.9*level + 0.44*rnd.NormFloat64()
		h := &f.Hours[i]
		h.Start = start.Add(time.Duration(i) * time.Hour)
		h.Values[RainChance] = unit.Some(logistic(-2 + 1.5*level))
		h.Values[RainMM] = unit.Some(max(0, level-0.5))
		h.Values[AirC] = unit.Some(12 + 4*level)
		h.Values[HumidityPct] = unit.Some(75 + 5*rnd.Float64())
		h.Values[WindMS] = unit.Some(3 + rnd.Float64())
		h.Values[CloudPct] = unit.Some(50 + 50*rnd.Float64())
		h.Values[ShortwaveWM2] = unit.Some(200 * rnd.Float64())
		h.Values[ThunderChance] = unit.Some(0)
	}
	return f
}

func mustDraw(t testing.TB, f *Forecast, opt DrawOptions) *Scenarios {
	t.Helper()
	s, err := Draw(f, opt)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The bounds of a union: Frechet.
func TestWindowChancesLieWithinTheirBounds(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 1))
	for range 20 {
		f := runFor(rnd, 100)
		s := mustDraw(t, f, DrawOptions{})
		m := float64(len(s.Members))
		for range 200 {
			a := rnd.IntN(100)
			b := a + 1 + rnd.IntN(min(24, 100-a))
			biggest, sum := 0.0, 0.0
			for _, h := range f.Hours[a:b] {
				biggest = max(biggest, h.Values[RainChance].V)
				sum += h.Values[RainChance].V
			}
			at := func(h int) time.Time { return s.Start.Add(time.Duration(h) * time.Hour) }
			got := s.WindowWet(at(a), at(b), f.Wet.OverMM)
			if got < biggest-1/m || got > min(1, sum+float64(b-a)/2/m)+1e-12 {
				t.Fatalf("hours %d to %d: chance %.3f outside %.3f to %.3f", a, b, got, biggest, sum)
			}
		}
	}
}

func TestHourlyChancesAreExact(t *testing.T) {
	rnd := rand.New(rand.NewPCG(2, 1))
	for _, m := range []int{7, 31, 200, 1000} {
		f := runFor(rnd, 60)
		s := mustDraw(t, f, DrawOptions{Members: m})
		for h := range f.Hours {
			p := f.Hours[h].Values[RainChance].V
			if got, want := s.ChanceWet(h, 0.1), math.Round(p*float64(m))/float64(m); math.Abs(got-want) > 1e-12 {
				t.Fatalf("M %d hour %d: %v, want %v", m, h, got, want)
			}
		}
	}
}

func TestDrawIsSteady(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 1))
	f := runFor(rnd, 240)
	a, b := mustDraw(t, f, DrawOptions{}), mustDraw(t, f, DrawOptions{})
	if !reflect.DeepEqual(a, b) {
		t.Fatal("the same forecast gave different weathers")
	}
	// The next day's forecast of the same hours keeps most of its wet members:
	// all but for clustering, which is less for nearer hours.
	later := *f
	later.Hours = f.Hours[24:]
	c := mustDraw(t, &later, DrawOptions{})
	moved, wet := 0, 0
	for i := range c.Members {
		for h := range c.Hours {
			was, is := a.Members[i].RainMM[h+24] > 0.1, c.Members[i].RainMM[h] > 0.1
			if was {
				wet++
			}
			if was != is {
				moved++
			}
		}
	}
	if wet == 0 || float64(moved) > 0.15*float64(wet) {
		t.Errorf("%d of %d wet hours moved to other members when a day passed", moved, wet)
	}
}

func TestMoreRainIsNeverDrier(t *testing.T) {
	rnd := rand.New(rand.NewPCG(4, 1))
	for _, wet := range []WetEvent{DefaultWet, {0.254, 12 * time.Hour}} {
		for range 20 {
			f := runFor(rnd, 48)
			f.Wet = wet
			if wet.Period > time.Hour {
				for i := range f.Hours {
					f.Hours[i].Values[RainChance] = f.Hours[i/12*12].Values[RainChance]
				}
			}
			g := *f
			g.Hours = append([]Hour(nil), f.Hours...)
			for i := range g.Hours {
				v := &g.Hours[i].Values
				if i%12 == 0 || wet.Period == time.Hour {
					v[RainChance] = unit.Some(min(1, v[RainChance].V+rnd.Float64()*0.3))
				} else {
					v[RainChance] = g.Hours[i-1].Values[RainChance]
				}
				v[RainMM] = unit.Some(v[RainMM].V + rnd.ExpFloat64())
			}
			a, b := mustDraw(t, f, DrawOptions{}), mustDraw(t, &g, DrawOptions{})
			for i := range a.Members {
				for h := range a.Hours {
					if x, y := a.Members[i].RainMM[h], b.Members[i].RainMM[h]; y < x-1e-12 {
						t.Fatalf("member %d hour %d: %v mm, %v mm with more rain foreseen", i, h, x, y)
					}
				}
			}
		}
	}
}

func TestABlockKeepsItsChance(t *testing.T) {
	f := runFor(rand.New(rand.NewPCG(5, 1)), 48)
	f.Wet = WetEvent{0.254, 12 * time.Hour}
	chances := []float64{0.1, 0.55, 0, 1}
	for i := range f.Hours {
		f.Hours[i].Values[RainChance] = unit.Some(chances[i/12])
	}
	s := mustDraw(t, f, DrawOptions{})
	for k, p := range chances {
		from := s.Start.Add(time.Duration(k) * 12 * time.Hour)
		if got := s.WindowWet(from, from.Add(12*time.Hour), 0.254); math.Abs(got-p) > 1e-12 {
			t.Errorf("block %d: chance %v, want %v", k, got, p)
		}
		for h := 12 * k; h < 12*k+12; h++ {
			if got := s.ChanceWet(h, 0.254); got > p || got < p/12-1.0/200 {
				t.Errorf("hour %d: chance %v of a block's %v", h, got, p)
			}
		}
	}
}

// A feed whose far steps last six hours gives one chance for each of them: its
// hours are not six chances.
func TestALongStepKeepsItsChance(t *testing.T) {
	f := runFor(rand.New(rand.NewPCG(5, 2)), 48)
	for i := range f.Hours {
		h := &f.Hours[i]
		h.Values[RainChance] = unit.Some(0.4)
		if i >= 24 {
			h.ChanceHours = 6
			if i < 36 {
				h.Values[RainChance] = unit.Some(0.3)
			}
		}
	}
	s := mustDraw(t, f, DrawOptions{})
	for h := 24; h < 48; h += 6 {
		from, want := s.Start.Add(time.Duration(h)*time.Hour), f.Hours[h].Values[RainChance].V
		if got := s.WindowWet(from, from.Add(6*time.Hour), f.Wet.OverMM); math.Abs(got-want) > 1e-12 {
			t.Errorf("step from hour %d: chance %v, want %v", h, got, want)
		}
	}
	for h := range 24 {
		if got := s.ChanceWet(h, f.Wet.OverMM); math.Abs(got-0.4) > 1e-12 {
			t.Errorf("hour %d: chance %v, want its own", h, got)
		}
	}
}

func TestHeavierRainHasItsOwnSmallerChance(t *testing.T) {
	f := runFor(rand.New(rand.NewPCG(6, 1)), 24)
	for i := range f.Hours {
		f.Hours[i].Values[RainChance] = unit.Some(0.5)
		f.Hours[i].Values[RainMM] = unit.Opt{}
	}
	s := mustDraw(t, f, DrawOptions{})
	am := f.signsOf(0, 0.5).Amounts(0)
	for _, mm := range []float64{0.25, 2.5, 7.6} {
		got, want := s.WindowReaching(s.Start, s.Start.Add(time.Hour), mm), 0.5*am.exceeds(mm, 0.1)
		if math.Abs(got-want) > 1.0/200 {
			t.Errorf("chance of %v mm: %v, want %v", mm, got, want)
		}
	}
}

func TestWhatIsNotKnown(t *testing.T) {
	f := runFor(rand.New(rand.NewPCG(7, 1)), 6)
	none := unit.Opt{}
	f.Hours[1].Values[RainMM] = none                                      // a chance alone
	f.Hours[2].Values[RainChance] = none                                  // an amount alone
	f.Hours[3].Values[RainMM], f.Hours[3].Values[RainChance] = none, none // neither
	f.Hours[4].Values[AirC], f.Hours[4].Values[ShortwaveWM2] = none, none // no air, no sun
	s := mustDraw(t, f, DrawOptions{})
	for i, w := range s.Members {
		if math.IsNaN(w.RainMM[1]) || math.IsNaN(w.RainMM[2]) || !math.IsNaN(w.RainMM[3]) {
			t.Fatalf("member %d: rain %v", i, w.RainMM)
		}
		if !math.IsNaN(w.AirC[4]) || !math.IsNaN(w.ShortwaveWM2[4]) || math.IsNaN(w.AirC[3]) {
			t.Fatalf("member %d: air %v, sun %v", i, w.AirC, w.ShortwaveWM2)
		}
	}
	at := func(h int) time.Time { return s.Start.Add(time.Duration(h) * time.Hour) }
	if got := s.WindowWet(at(3), at(4), 0.1); got != 1 {
		t.Errorf("an unknown hour is wet with chance %v, want 1", got)
	}
	if got := s.WindowWet(at(5), at(8), 0.1); got != 1 {
		t.Errorf("a window past the end is wet with chance %v, want 1", got)
	}
}

func TestTracksKeepTheRunsMeanAndShareSlices(t *testing.T) {
	f := runFor(rand.New(rand.NewPCG(8, 1)), 48)
	s := mustDraw(t, f, DrawOptions{})
	first := map[int]*Weather{}
	sum := make([]float64, s.Hours)
	for i := range s.Members {
		w := &s.Members[i]
		o, ok := first[w.Track]
		if !ok {
			first[w.Track] = w
			for h := range sum {
				sum[h] += w.AirC[h]
			}
			continue
		}
		if &o.AirC[0] != &w.AirC[0] || &o.ShortwaveWM2[0] != &w.ShortwaveWM2[0] {
			t.Fatalf("members of track %d do not share their slices", w.Track)
		}
	}
	if len(first) != s.Tracks || s.Tracks != DefaultTracks {
		t.Fatalf("%d tracks, stated %d, want %d", len(first), s.Tracks, DefaultTracks)
	}
	for h := range sum {
		if got, want := sum[h]/float64(s.Tracks), f.Hours[h].Values[AirC].V; math.Abs(got-want) > 1e-9 {
			t.Fatalf("hour %d: tracks' mean %v, run %v", h, got, want)
		}
	}
}

func TestThunderIsInAsManyMembersAsItsChance(t *testing.T) {
	f := runFor(rand.New(rand.NewPCG(9, 1)), 3)
	for h, p := range []float64{0, 0.15, 1} {
		f.Hours[h].Values[ThunderChance] = unit.Some(p)
	}
	s := mustDraw(t, f, DrawOptions{})
	for h, want := range []int{0, 30, 200} {
		n := 0
		for i := range s.Members {
			if s.Members[i].Thunder[h] {
				n++
			}
		}
		if n != want {
			t.Errorf("hour %d: thunder in %d members, want %d", h, n, want)
		}
	}
}

// Whatever is missing, a forecast is drawn, and thunder that the feed tells of
// is in as many members where the rain is unknown, too: the last hour of a run
// often has a weather code and no rain.
func TestAnyGapIsDrawn(t *testing.T) {
	rnd := rand.New(rand.NewPCG(12, 1))
	for n := range 300 {
		f := runFor(rnd, 30)
		if n%3 == 1 {
			f.Wet = WetEvent{OverMM: 0.254, Period: 12 * time.Hour}
		}
		if n%3 == 2 {
			f.Members = make([]Member, 5)
			for i := range f.Members {
				f.Members[i].Values[RainMM] = newSeries(30)
				for h := range 20 {
					f.Members[i].Values[RainMM][h+rnd.IntN(10)] = rnd.Float64()
				}
			}
		}
		for i := range f.Hours {
			f.Hours[i].Values[ThunderChance] = unit.Some(float64(rnd.IntN(3)) / 2)
			for v := range NumVariables {
				if rnd.IntN(3) == 0 {
					f.Hours[i].Values[v] = unit.Opt{}
				}
			}
		}
		s := mustDraw(t, f, DrawOptions{})
		for h := range f.Hours {
			hit := 0
			for i := range s.Members {
				if s.Members[i].Thunder[h] {
					hit++
				}
			}
			if want := roundChance(f.Hours[h].Values[ThunderChance].Or(0), len(s.Members)); len(f.Members) == 0 &&
				hit != want {
				t.Fatalf("hour %d: thunder in %d members, want %d", h, hit, want)
			}
		}
	}
}

func TestDrawRefuses(t *testing.T) {
	for name, spoil := range map[string]func(f *Forecast, o *DrawOptions){
		"no hours": func(f *Forecast, _ *DrawOptions) { f.Hours = nil },
		"a gap":    func(f *Forecast, _ *DrawOptions) { f.Hours[3].Start = f.Hours[3].Start.Add(time.Hour) },
		"half hours": func(f *Forecast, _ *DrawOptions) {
			f.Hours[0].Start = f.Hours[0].Start.Add(30 * time.Minute)
		},
		"chance over 1": func(f *Forecast, _ *DrawOptions) {
			f.Hours[2].Values[RainChance] = unit.Opt{V: 1.2, Known: true}
		},
		"chance NaN": func(f *Forecast, _ *DrawOptions) {
			f.Hours[2].Values[RainChance] = unit.Opt{V: math.NaN(), Known: true}
		},
		"negative rain":   func(f *Forecast, _ *DrawOptions) { f.Hours[2].Values[RainMM] = unit.Some(-1) },
		"no wet event":    func(f *Forecast, _ *DrawOptions) { f.Wet = WetEvent{} },
		"one member":      func(_ *Forecast, o *DrawOptions) { o.Members = 1 },
		"too many tracks": func(_ *Forecast, o *DrawOptions) { o.Tracks = 201 },
		"clustering of 1": func(_ *Forecast, o *DrawOptions) { o.Lag1 = unit.Some(1) },
		"short member rain": func(f *Forecast, _ *DrawOptions) {
			f.Members = make([]Member, 3)
			f.Members[1].Values[RainMM] = Series{1}
		},
	} {
		t.Run(name, func(t *testing.T) {
			f, o := runFor(rand.New(rand.NewPCG(10, 1)), 6), DrawOptions{}
			spoil(f, &o)
			_, err := Draw(f, o)
			if !errors.Is(err, fault.Invalid) {
				t.Fatalf("got %v", err)
			}
			var e *fault.Error
			if !errors.As(err, &e) || len(e.Fields) == 0 {
				t.Errorf("no field is named: %v", err)
			}
		})
	}
}

func BenchmarkDraw(b *testing.B) {
	f := runFor(rand.New(rand.NewPCG(11, 1)), 384)
	for b.Loop() {
		mustDraw(b, f, DrawOptions{})
	}
}
