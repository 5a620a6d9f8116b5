package forecast

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"dryslot/internal/checkedtest"
)

// decomposition is the Brier score's parts: score = Reliability - Resolution +
// Uncertainty, exact where each bin holds one chance (Murphy, Journal of
// Applied Meteorology 12, 1973; from memory).
type decomposition struct {
	Reliability, Resolution, Uncertainty float64
}

// decompose returns the parts of the Brier score of binned pairs.
func decompose(bins []Bin) decomposition {
	var n, wet float64
	for _, b := range bins {
		n += float64(b.Pairs)
		wet += float64(b.Wet)
	}
	base := wet / n
	d := decomposition{Uncertainty: base * (1 - base)}
	for _, b := range bins {
		share, f := float64(b.Pairs)/n, b.Frequency()
		d.Reliability += share * (b.Chance - f) * (b.Chance - f)
		d.Resolution += share * (f - base) * (f - base)
	}
	return d
}

// The worked figures of testdata/handbook/brier_example_calc.csv.
func TestBrierDecomposition(t *testing.T) {
	const source = "worked example, testdata/handbook/brier_example_calc.csv"
	file, err := os.Open("../../testdata/handbook/brier_example_calc.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var bins []Bin
	var pairs []Pair
	want := map[string]float64{}
	for _, r := range rows[1:] {
		if r[2] == "" {
			want[r[0]] = num(r[1])
			continue
		}
		b := Bin{Chance: num(r[0]), Pairs: int(num(r[1])), Wet: int(num(r[2]))}
		checkedtest.Near(t, source, "frequency", b.Frequency(), num(r[3]), 1e-12)
		bins = append(bins, b)
		for i := range b.Pairs {
			pairs = append(pairs, Pair{Chance: b.Chance, Wet: i < b.Wet})
		}
	}
	d := decompose(bins)
	checkedtest.Near(t, source, "reliability", d.Reliability, want["REL"], 1e-12)
	checkedtest.Near(t, source, "resolution", d.Resolution, want["RES"], 1e-12)
	checkedtest.Near(t, source, "uncertainty", d.Uncertainty, want["UNC"], 1e-12)
	checkedtest.Near(t, source, "Brier score", Brier(pairs), want["BS"], 1e-12)
	checkedtest.Near(t, source, "its parts", d.Reliability-d.Resolution+d.Uncertainty, want["BS"], 1e-12)
	if got := Bins(pairs, 1); len(got) != 4 || got[0].Wet != 1 || got[3].Pairs != 10 {
		t.Errorf("pairs fall into %+v", got)
	}
}

// Four chances of .9, .1, .8, .3 against 1, 0, 1, 0: score .0375, skill .85
// against a climate of .5 (computed by hand).
func TestBrierSkillExample(t *testing.T) {
	pairs := []Pair{{Chance: .9, Wet: true}, {Chance: .1}, {Chance: .8, Wet: true}, {Chance: .3}}
	s := ScoreOf(pairs)
	checkedtest.Near(t, "worked by hand", "Brier score", s.Brier, 0.0375, 1e-12)
	checkedtest.Near(t, "worked by hand", "Brier skill", s.Skill, 0.85, 1e-12)
	checkedtest.Near(t, "worked by hand", "bias", s.Bias, 0.025, 1e-12)
}

func TestBinsHoldEnough(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		pairs := make([]Pair, 1+rnd.IntN(3000))
		wet := 0
		for i := range pairs {
			pairs[i] = Pair{Chance: math.Pow(rnd.Float64(), 3), Wet: rnd.IntN(4) == 0}
			if pairs[i].Wet {
				wet++
			}
		}
		n, w := 0, 0
		bins := Bins(pairs, 200)
		for _, b := range bins {
			n, w = n+b.Pairs, w+b.Wet
			if b.Pairs < 200 && len(bins) > 1 {
				t.Fatalf("a bin of %d among %d", b.Pairs, len(bins))
			}
		}
		if n != len(pairs) || w != wet {
			t.Fatalf("bins hold %d pairs, %d wet of %d, %d", n, w, len(pairs), wet)
		}
	}
}

// A feed whose every tenth chance tells nothing: its zeros are wet now and then.
func TestMissesAreLearnedFromCounts(t *testing.T) {
	rnd := rand.New(rand.NewPCG(6, 2))
	var c Counts
	base, n := 0.0, 60000
	for range n {
		base += logistic(-1.5+1.2*rnd.NormFloat64()) / float64(n)
	}
	for i := range n {
		p := logistic(-1.5 + 1.2*rnd.NormFloat64())
		truth := p
		if rnd.IntN(10) == 0 {
			truth = base
		}
		c.AddPair(Pair{Chance: p, Wet: rnd.Float64() < truth, Lead: 12 * time.Hour,
			Target: time.Unix(int64(i)*3600, 0)})
	}
	cal, reports := LearnCounts(&c, &c, false)
	if cal == nil {
		t.Fatalf("learned nothing: %+v", reports[1])
	}
	for p := 0.0; p < 0.9; p += 0.05 {
		if got, want := cal.Apply(p, 12*time.Hour), 0.9*max(p, oddsFloor)+0.1*base; math.Abs(got-want) > 0.025 {
			t.Errorf("%.2f is corrected to %.3f, want %.3f (%+v)", p, got, want, reports[1].Band)
		}
	}
}

func TestApplyKeepsOrder(t *testing.T) {
	rnd := rand.New(rand.NewPCG(4, 2))
	for range 500 {
		slope := 0.2 + rnd.Float64()
		cal := &Recalibration{Bands: []Band{{UpTo: time.Hour, On: true, Shift: rnd.NormFloat64(), Slope: slope,
			Miss: 0.3 * rnd.Float64(), Base: rnd.Float64()}}}
		a, b := rnd.Float64(), rnd.Float64()
		if x, y := cal.Apply(min(a, b), 0), cal.Apply(max(a, b), 0); x > y || x < 0 || y > 1 {
			t.Fatalf("%v and %v became %v and %v", min(a, b), max(a, b), x, y)
		}
	}
	var none *Recalibration
	if none.Apply(0.37, 0) != 0.37 {
		t.Error("no correction corrects")
	}
}

// The prior for raw member fractions follows from the shift of log odds that lowers
// the skill from 0.49 to 0.13 (ensemble against the Frankfurt gauge, 2007-2017,
// testdata/weather/SOURCES.md), where the corrected chances are right and
// spread about a wet share of 0.45 (from memory) just so far that their skill
// is 0.49: with right chances skill = variance / (base (1 - base)).
func TestPriorEnsembleFromThePublishedSkills(t *testing.T) {
	const base, good, raw, steps = 0.45, 0.49, 0.13, 4000
	// Beta distributed chances: variance = base (1-base) / (n+1), so n = 1/skill - 1.
	n := 1/good - 1
	density := func(p float64) float64 { return math.Pow(p, base*n-1) * math.Pow(1-p, (1-base)*n-1) }
	skill := func(shift float64) float64 {
		var sum, brier float64
		for i := range steps {
			p := (float64(i) + 0.5) / steps
			w := density(p)
			q := logistic(logit(p) - shift)
			sum += w
			brier += w * (p*(1-p) + (p-q)*(p-q))
		}
		return 1 - brier/sum/(base*(1-base))
	}
	checkedtest.Near(t, "testdata/weather/SOURCES.md", "skill corrected", skill(0), good, 0.01)
	checkedtest.Near(t, "testdata/weather/SOURCES.md", "skill raw", skill(dailyEnsembleShift), raw, 0.03)
}
