package forecast

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// ensembleFor makes an invented ensemble of m members over n hours.
func ensembleFor(rnd *rand.Rand, m, n, block int) *Forecast {
	f := runFor(rnd, n)
	for i := range f.Hours {
		f.Hours[i].Start = f.Hours[0].Start.Truncate(24 * time.Hour).Add(time.Duration(i) * time.Hour)
	}
	f.Members = make([]Member, m)
	for i := range f.Members {
		rain, air := make(Series, n), make(Series, n)
		level := 0.0
		for h := range n {
			if h%block == 0 {
				level = 0.7*level + rnd.NormFloat64()
			}
			rain[h], air[h] = max(0, level-0.7), 10+level
		}
		f.Members[i].Values[RainMM], f.Members[i].Values[AirC] = rain, air
	}
	return f
}

func TestEnsembleKeepsItsMembers(t *testing.T) {
	f := ensembleFor(rand.New(rand.NewPCG(1, 3)), 31, 72, 1)
	s := mustDraw(t, f, DrawOptions{})
	if len(s.Members) != 31 || s.Tracks != 31 {
		t.Fatalf("%d members, %d tracks", len(s.Members), s.Tracks)
	}
	for i, w := range s.Members {
		if w.Track != i {
			t.Fatalf("member %d has track %d", i, w.Track)
		}
		for h := range s.Hours {
			raw := f.Members[i].Values[RainMM][h]
			if w.AirC[h] != f.Members[i].Values[AirC][h] || w.WindMS[h] != f.Hours[h].Values[WindMS].V {
				t.Fatalf("member %d hour %d: air %v, wind %v", i, h, w.AirC[h], w.WindMS[h])
			}
			if x := w.RainMM[h]; raw > 0.1 && x > 0.1 && x != raw {
				t.Fatalf("member %d hour %d: %v mm became %v", i, h, raw, x)
			}
		}
	}
}

func TestEnsembleChancesAreTheCorrectedFractions(t *testing.T) {
	rnd := rand.New(rand.NewPCG(2, 3))
	f := ensembleFor(rnd, 31, 72, 1)
	s := mustDraw(t, f, DrawOptions{})
	cal := PriorEnsemble()
	for h := range s.Hours {
		k := 0
		for i := range f.Members {
			if f.Members[i].Values[RainMM][h] > 0.1 {
				k++
			}
		}
		want := math.Round(31 * cal.Apply(float64(k+1)/33, f.lead(f.Hours[h].Start)))
		if got := s.ChanceWet(h, 0.1) * 31; math.Abs(got-want) > 1e-9 {
			t.Errorf("hour %d: %d of 31 raw, %.0f after correction, want %.0f", h, k, got, want)
		}
	}
}

func TestBlocksKeepTheirTotals(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 3))
	for _, block := range []int{3, 6} {
		f := ensembleFor(rnd, 20, 96, block)
		rain := rainOf(f)
		shareOut(f, rain)
		uneven := 0
		for i := range rain {
			for a := 0; a < 96; a += block {
				got, want := 0.0, 0.0
				for h := a; h < a+block; h++ {
					got, want = got+rain[i][h], want+f.Members[i].Values[RainMM][h]
				}
				if math.Abs(got-want) > 1e-9 {
					t.Fatalf("member %d block at %d: %v mm became %v", i, a, want, got)
				}
				if want > 0 && math.Abs(rain[i][a]-want/float64(block)) > 1e-6 {
					uneven++
				}
			}
		}
		if uneven == 0 {
			t.Error("no block was shared out anew")
		}
	}
	f := ensembleFor(rnd, 20, 96, 1)
	rain := rainOf(f)
	shareOut(f, rain)
	for i := range rain {
		for h := range rain[i] {
			if rain[i][h] != f.Members[i].Values[RainMM][h] {
				t.Fatal("hours that differ were taken as a block")
			}
		}
	}
}

func TestEnsembleWithHoles(t *testing.T) {
	f := ensembleFor(rand.New(rand.NewPCG(4, 3)), 10, 48, 1)
	nan := math.NaN()
	for i := range f.Members {
		f.Members[i].Values[RainMM][40] = nan // past the ensemble's horizon
	}
	f.Members[3].Values[RainMM][5], f.Members[3].Values[AirC][5] = nan, nan
	f.Members[4].Values[RainMM] = nil
	s := mustDraw(t, f, DrawOptions{})
	if !math.IsNaN(s.Members[3].RainMM[5]) || !math.IsNaN(s.Members[4].RainMM[7]) {
		t.Error("a member's missing rain was made up")
	}
	if got, want := s.Members[3].AirC[5], f.Hours[5].Values[AirC].V; got != want {
		t.Errorf("missing air is %v, want the run's %v", got, want)
	}
	want := math.Round(10*f.Hours[40].Values[RainChance].V) / 10
	if got := s.ChanceWet(40, 0.1); math.Abs(got-want) > 1e-9 {
		t.Errorf("past the horizon the chance is %v, want the run's %v", got, want)
	}
}

func TestAWetterEnsembleIsNeverDrier(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 3))
	for range 30 {
		f := ensembleFor(rnd, 31, 24, 1)
		a := mustDraw(t, f, DrawOptions{})
		for i := range f.Members {
			for h := range f.Members[i].Values[RainMM] {
				f.Members[i].Values[RainMM][h] += 0.3 // all alike, so the members keep their order
			}
		}
		b := mustDraw(t, f, DrawOptions{})
		for h := range a.Hours {
			if x, y := a.ChanceWet(h, 0.1), b.ChanceWet(h, 0.1); y < x-1e-9 {
				t.Fatalf("hour %d: chance %v fell to %v with more rain in every member", h, x, y)
			}
		}
	}
}
