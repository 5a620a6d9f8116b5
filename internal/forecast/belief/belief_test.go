package belief_test

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/belief"
)

var (
	start = time.Date(2024, time.July, 10, 3, 0, 0, 0, time.UTC)
	place = belief.Place{Latitude: 42, Longitude: -72, WetShare: 0.08}
)

// weathers returns members whose hours are wet independently of each other.
func weathers(chance func(h int) float64, members, hours int) *forecast.Scenarios {
	sc := &forecast.Scenarios{
		Start:   start,
		Hours:   hours,
		WetMM:   0.1,
		Tracks:  1,
		Members: make([]forecast.Weather, members),
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	for i := range sc.Members {
		sc.Members[i].RainMM = make([]float64, hours)
		for h := range hours {
			if rnd.Float64() < chance(h) {
				sc.Members[i].RainMM[h] = 0.3 + 4*rnd.Float64()
			}
		}
	}
	return sc
}

func library(t *testing.T) *belief.Library {
	t.Helper()
	l, err := belief.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func made(t *testing.T, sc *forecast.Scenarios, hours int, opt belief.Options) *belief.Belief {
	t.Helper()
	b, err := belief.New(context.Background(), library(t), place, sc, start, hours, opt)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func wetShare(b *belief.Belief, h int, mm float64) float64 {
	p := 0.0
	for i, rain := range b.Rain {
		if rain[h] >= mm {
			p += b.Weight[i]
		}
	}
	return p
}

func TestEachHourKeepsTheFeedsChancesAndAmounts(t *testing.T) {
	const hours = 36
	sc := weathers(func(h int) float64 { return float64(h%9) / 10 }, 200, hours)
	b := made(t, sc, hours, belief.Options{})
	for h := range hours {
		for _, mm := range []float64{0.25, 1, 2.5, 4} {
			n := 0
			for m := range sc.Members {
				if sc.Members[m].RainMM[h] >= mm {
					n++
				}
			}
			want := float64(n) / float64(len(sc.Members))
			// 15 % of the members are the season's, at most 30 % wet.
			least, most := 0.85*want-0.01, 0.85*want+0.15*0.3+0.01
			if got := wetShare(b, h, mm); got < least || got > most {
				t.Errorf("hour %d, %g mm: chance %.4f, the feed's is %.4f", h, mm, got, want)
			}
		}
	}
}

func TestTheSameForecastGivesTheSameBelief(t *testing.T) {
	sc := weathers(func(h int) float64 { return 0.3 }, 100, 30)
	a, b := made(t, sc, 30, belief.Options{}), made(t, sc, 30, belief.Options{})
	for i := range a.Rain {
		for h := range a.Rain[i] {
			if a.Rain[i][h] != b.Rain[i][h] {
				t.Fatalf("member %d, hour %d: %g and %g", i, h, a.Rain[i][h], b.Rain[i][h])
			}
		}
	}
}

func TestAnUnknownHourStaysUnknown(t *testing.T) {
	sc := weathers(func(h int) float64 { return 0.3 }, 50, 30)
	for m := range sc.Members {
		sc.Members[m].RainMM[7] = math.NaN()
	}
	b := made(t, sc, 30, belief.Options{})
	for i := range b.Rain {
		if !math.IsNaN(b.Rain[i][7]) || math.IsNaN(b.Rain[i][8]) {
			t.Fatalf("member %d: hours 7 and 8 are %g and %g", i, b.Rain[i][7], b.Rain[i][8])
		}
	}
	w := b.Posterior(belief.Seen{Hour: 8, Before: [3]float64{math.NaN(), 0, 0}}, belief.Nowcast{}, ordinary(b))
	checkWeights(t, w)
}

func ordinary(b *belief.Belief) *belief.Channel {
	c := belief.Stated().NewChannel(b.Climate)
	return &c
}

func checkWeights(t *testing.T, w []float64) {
	t.Helper()
	sum, squares := 0.0, 0.0
	for _, x := range w {
		if !(x >= 0) {
			t.Fatalf("a weight is %g", x)
		}
		sum += x
		squares += x * x
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("weights sum to %g", sum)
	}
	// The posterior keeps 5 %; a nowcast that few members suit may then be heard.
	if size := 1 / squares; size < 0.04*float64(len(w)) {
		t.Errorf("effective sample size %.1f of %d", size, len(w))
	}
}

func after(b *belief.Belief, w []float64, from, until int) float64 {
	p := 0.0
	for i, rain := range b.Rain {
		for _, mm := range rain[from:until] {
			if mm >= belief.WetMM {
				p += w[i]
				break
			}
		}
	}
	return p
}

func TestRainSeenAndForeseenMakesRainLikelier(t *testing.T) {
	sc := weathers(func(h int) float64 { return 0.2 }, 200, 30)
	b := made(t, sc, 30, belief.Options{})
	c := ordinary(b)
	dry := belief.Seen{Hour: 12}
	wet := belief.Seen{Hour: 12, Raining: true, Before: [3]float64{1, 1, 1}}
	var saidDry, saidWet belief.Nowcast
	for k := range saidDry {
		saidDry[k], saidWet[k] = belief.SaidDry, belief.SaidWet
	}
	chance := func(s belief.Seen, n belief.Nowcast) float64 {
		w := b.Posterior(s, n, c)
		checkWeights(t, w)
		return after(b, w, 13, 16)
	}
	prior := after(b, b.Weight, 13, 16)
	silent := belief.Nowcast{}
	steps := []float64{chance(dry, saidDry), chance(dry, silent), prior, chance(wet, silent), chance(wet, saidWet)}
	for i := 1; i < len(steps); i++ {
		if steps[i] <= steps[i-1] {
			t.Errorf(
				"chances of rain from 3 h should rise along dry and said dry, dry, nothing known, wet, "+
					"wet and said wet: %.3f",
				steps,
			)
		}
	}
}

func TestTheChannelReachesItsStatedReliability(t *testing.T) {
	r := belief.Stated()
	f := belief.Frequencies{Wet: 0.08, Onset: 0.4, Beside: 0.06}
	c := r.NewChannel(f)
	at := map[int]int{0: 0, 1: 1, 2: 2, 4: 3, 6: 4}
	for k, span := range at {
		hit := f.Onset*c.ChanceSaid(k, 0, 1, 0) + (1-f.Onset)*c.ChanceSaid(k, 1, 1, 0)
		alarm := f.Beside*c.ChanceSaid(k, 1, 0, 0) + (1-f.Beside)*c.ChanceSaid(k, 0, 0, 0)
		if math.Abs(hit-r.Detection[span]) > 0.02 {
			t.Errorf("%d h ahead: detected %.3f, stated %.3f", k, hit, r.Detection[span])
		}
		far := alarm * (1 - f.Wet) / (alarm*(1-f.Wet) + hit*f.Wet)
		if math.Abs(far-r.FalseAlarm[span]) > 0.02 {
			t.Errorf("%d h ahead: false alarms %.3f, stated %.3f", k, far, r.FalseAlarm[span])
		}
	}
	if on, going := c.ChanceSaid(1, 0, 1, 0), c.ChanceSaid(1, 1, 1, 0); on >= going {
		t.Errorf("onset is detected with %.2f, rain that goes on with %.2f", on, going)
	}
}

func TestNewRefusesWhatItCannotUse(t *testing.T) {
	sc := weathers(func(int) float64 { return 0.1 }, 20, 30)
	for name, f := range map[string]func() error{
		"hours beyond the scenarios": func() error {
			_, err := belief.New(context.Background(), library(t), place, sc, start, 31, belief.Options{})
			return err
		},
		"one member": func() error {
			_, err := belief.New(context.Background(), library(t), place, sc, start, 30, belief.Options{Members: 1})
			return err
		},
		"fewer candidates than members": func() error {
			_, err := belief.New(context.Background(), library(t), place, sc, start, 30, belief.Options{Candidates: 3})
			return err
		},
	} {
		if err := f(); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := belief.New(ctx, library(t), place, sc, start, 30, belief.Options{}); !errors.Is(err,
		context.Canceled) {
		t.Errorf("a cancelled context: %v", err)
	}
}

func TestCodesKeepAmountsAndSidesOfThresholds(t *testing.T) {
	for mm := 0.1; mm < 150; mm *= 1.007 {
		x := belief.Amount(belief.Code(mm))
		if math.Abs(x/mm-1) > 0.033 {
			t.Errorf("%g mm is unpacked as %g", mm, x)
		}
		for _, limit := range []float64{0.25, 2.5, 7.6} {
			if (mm >= limit) != (x >= limit) {
				t.Errorf("%g mm is unpacked as %g, across %g", mm, x, limit)
			}
		}
	}
	if c := belief.Code(math.NaN()); c != belief.Unknown {
		t.Errorf("NaN is packed as %d", c)
	}
}

func TestALibraryIsReadAsItWasWritten(t *testing.T) {
	l := library(t)
	if n := len(l.Regions()); n < 8 {
		t.Errorf("%d regions: %v", n, l.Regions())
	}
	if got := l.Without("ireland").Regions(); len(got) != len(l.Regions())-1 {
		t.Errorf("without one: %v", got)
	}
	var b bytes.Buffer
	if err := l.Encode(&b); err != nil {
		t.Fatal(err)
	}
	whole := b.Bytes()
	again, err := belief.Decode(bytes.NewReader(whole))
	if err != nil {
		t.Fatal(err)
	}
	var c bytes.Buffer
	if err := again.Encode(&c); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(whole, c.Bytes()) {
		t.Error("a library that is read and written again differs")
	}
	if _, err := belief.Decode(bytes.NewReader(whole[:len(whole)/2])); err == nil {
		t.Error("half a library is read without an error")
	}
	if len(whole) > 1_500_000 {
		t.Errorf("the library takes %d bytes", len(whole))
	}
}

func FuzzDecode(f *testing.F) {
	l, err := belief.Embedded()
	if err != nil {
		f.Fatal(err)
	}
	var b bytes.Buffer
	if err := l.Without("ireland").Encode(&b); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes()[:2000])
	f.Add([]byte("rain-by-hour-1\n"))
	f.Fuzz(func(t *testing.T, in []byte) {
		if l, err := belief.Decode(bytes.NewReader(in)); err == nil && l == nil {
			t.Error("neither a library nor an error")
		}
	})
}

// Where the scenarios' wet hours are seldom heavy, those of the library's days are
// seldom too, though its records have heavier rain.
func TestDaysOfTheLibraryRainAsHardAsThePlaceDoes(t *testing.T) {
	share := func(top float64) float64 {
		sc := weathers(func(int) float64 { return 0.2 }, 200, 60)
		for i := range sc.Members {
			for h, mm := range sc.Members[i].RainMM {
				if mm > 0 {
					sc.Members[i].RainMM[h] = 0.3 + (mm-0.3)/4*top
				}
			}
		}
		dry := &forecast.Scenarios{Start: sc.Start, Hours: 60, WetMM: sc.WetMM, Tracks: 1, Members: sc.Members}
		for i := range dry.Members { // the day itself is dry in all: what rains is the library's
			clear(dry.Members[i].RainMM[:24])
		}
		b := made(t, dry, 24, belief.Options{})
		wet, heavy := 0.0, 0.0
		for h := range 24 {
			wet += wetShare(b, h, belief.WetMM)
			heavy += wetShare(b, h, belief.HeavyMM)
		}
		if wet == 0 {
			t.Fatal("no day of the library is wet")
		}
		return heavy / wet
	}
	light, hard := share(1), share(8)
	if !(light < 0.05 && hard > 0.3) {
		t.Errorf("of wet hours %.3f are heavy where the place has none, %.3f where most are", light, hard)
	}
}
