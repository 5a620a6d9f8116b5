package forecast_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/unit"
)

func signs() forecast.AmountSigns {
	return forecast.AmountSigns{Chance: 0.3, MM: unit.Some(0.5), DewC: unit.Some(14.0), Lead: 3 * time.Hour}
}

// Likelier rain, a greater amount foreseen and air that holds more water never make
// heavy rain less likely in a wet hour; far ahead the amount tells nothing.
func TestWhatMakesAWetHourHeavy(t *testing.T) {
	base := signs().Heavy()
	for name, change := range map[string]func(*forecast.AmountSigns){
		"chance": func(s *forecast.AmountSigns) { s.Chance = 0.8 },
		"amount": func(s *forecast.AmountSigns) { s.MM = unit.Some(4.0) },
		"dew":    func(s *forecast.AmountSigns) { s.DewC = unit.Some(20.0) },
	} {
		s := signs()
		if change(&s); !(s.Heavy() > base+0.01) {
			t.Errorf("more %s: share %.3f, before %.3f", name, s.Heavy(), base)
		}
	}
	far, none := signs(), signs()
	far.Lead, none.MM = 1000*time.Hour, unit.Opt{}
	if math.Abs(far.Heavy()-none.Heavy()) > 1e-9 {
		t.Errorf("an amount of six weeks ahead counts: %v, without %v", far.Heavy(), none.Heavy())
	}
	for _, s := range []forecast.AmountSigns{{}, {Chance: 1, MM: unit.Some(500.0), DewC: unit.Some(40.0)}} {
		if p := s.Heavy(); !(p > 0 && p < 1) {
			t.Errorf("%+v: share %v", s, p)
		}
	}
}

// A place whose wet hours are heavier than its forecasts say is drawn heavier, and
// no wetter; the more hours are counted, the nearer to what came.
func TestAPlacesHeavyRainIsLearned(t *testing.T) {
	at := weekZero.Add(30 * 24 * time.Hour)
	f := hourly(at, 72, func(int) float64 { return 0.5 }, dry)
	stated := drawnHeavy(t, f, &forecast.Recalibration{})
	for _, came := range []float64{0.02, 0.4} {
		last := math.Abs(stated - came)
		for _, days := range []int{3, 20, 200} {
			share := drawnHeavy(t, f, learned(t, days, came))
			if off := math.Abs(share - came); off > last+0.025 {
				t.Errorf(
					"%d days in which %.2f of the wet hours were heavy: %.3f are drawn, "+
						"further off than before by more than chance",
					days,
					came,
					share,
				)
			} else {
				last = off
			}
		}
		if last > 0.06 {
			t.Errorf("after 200 days %.3f off the share of %.2f that came", last, came)
		}
	}
}

// learned lets forecasts of some days, up to 8 April, be followed by wet hours a
// share of which is heavy.
func learned(t *testing.T, days int, heavy float64) *forecast.Recalibration {
	t.Helper()
	rnd := rand.New(rand.NewPCG(uint64(days), uint64(heavy*100)))
	var sum forecast.Counts
	for d := range days {
		at := weekZero.AddDate(0, 0, 1-days+d)
		f := hourly(at, 48, func(int) float64 { return 0.5 }, dry)
		stated, ok := f.Stated()
		if !ok {
			t.Fatal("no chances were stated")
		}
		rain := &forecast.Rain{Start: at, MM: make([]float64, 24)}
		for h := range rain.MM {
			if rnd.Float64() < 0.5 {
				z := rnd.NormFloat64() + math.Sqrt2*math.Erfinv(2*heavy-1)
				rain.MM[h] = max(0.11, forecast.HeavyMM*math.Exp(0.9*z))
			}
		}
		due := forecast.CountDue([]forecast.Stated{stated}, rain, at, at.Add(24*time.Hour))
		sum.Merge(due)
	}
	doc, err := json.Marshal(sum)
	if err != nil {
		t.Fatal(err)
	}
	var back forecast.Counts
	if err := json.Unmarshal(doc, &back); err != nil || back.Heavy != sum.Heavy || back.Amounts != sum.Amounts {
		t.Fatalf("%s reads back as %+v: %v", doc, back.Heavy, err)
	}
	cal, _ := forecast.LearnCounts(&back, &forecast.Counts{}, false)
	if cal == nil {
		t.Fatal("nothing was learned")
	}
	return cal
}

func drawnHeavy(t *testing.T, f *forecast.Forecast, cal *forecast.Recalibration) float64 {
	t.Helper()
	bare := forecast.Recalibration{Heavy: cal.Heavy, Amounts: cal.Amounts} // the chances as they are
	sc, err := forecast.Draw(f, forecast.DrawOptions{Members: 2000, Recalibration: &bare})
	if err != nil {
		t.Fatal(err)
	}
	wet, heavy := 0.0, 0.0
	for i := range sc.Members {
		for _, mm := range sc.Members[i].RainMM[48:72] {
			if mm > sc.WetMM {
				wet++
			}
			if mm >= forecast.HeavyMM {
				heavy++
			}
		}
	}
	if wet != 0.5*24*2000 {
		t.Errorf("%v wet hours, not half of them", wet)
	}
	return heavy / wet
}

func TestCountsOfHeavyHoursThatCantBe(t *testing.T) {
	for _, row := range []string{"[12,1,0,0]", "[-1,1,0,0]", "[0,1,2,0]", "[0,1,0,201]", "[0,-1,0,0]", "[0,1,-1,0]"} {
		var c forecast.Counts
		if err := json.Unmarshal([]byte(`{"steps":200,"bins":12,"rows":[],"heavy":[`+row+`]}`), &c); err == nil {
			t.Errorf("%s was read", row)
		}
	}
	for _, row := range []string{
		"0,1,255,0,65025,0,0", "0,-1,0,0,0,0,0", "0,2,3,3,4,5,4", "0,1,2,2,4,4,5", "0,1,-1,0,1,0,0",
		"1,1,15,0,225,0,0", "1,1,32,0,1024,0,0", "-1,1,0,0,0,0,0", "16,1,250,0,62500,0,0",
	} {
		var c forecast.Counts
		err := json.Unmarshal([]byte(`{"steps":200,"bins":12,"rows":[],"amounts_stated":[[`+row+`]]}`), &c)
		if err == nil {
			t.Errorf("amounts of %s were read", row)
		}
	}
}

// In a wet hour the rain follows the run's own amount, and chances stay exact.
func TestRainFollowsTheRunsAmount(t *testing.T) {
	at := weekZero.Add(30 * 24 * time.Hour)
	for _, c := range []struct{ mm, damp, heavy, off float64 }{
		{0.12, 0.3, 0.01, 0.04}, {1, 0.95, 0.14, 0.03}, {10, 1, 0.95, 0.02},
	} {
		f := hourly(at, 48, func(int) float64 { return 1 }, dry)
		for i := range f.Hours {
			f.Hours[i].Values[forecast.RainMM] = unit.Some(c.mm)
		}
		sc, err := forecast.Draw(f, forecast.DrawOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for h, hour := 12, time.Hour; h < 36; h++ {
			from := sc.Start.Add(time.Duration(h) * hour)
			if p := sc.ChanceWet(h, sc.WetMM); p != 1 {
				t.Fatalf("%v mm: wet with chance %v, not 1", c.mm, p)
			}
			damp, heavy := sc.WindowReaching(from, from.Add(hour), 0.25), sc.WindowReaching(from, from.Add(hour), 2.5)
			if math.Abs(damp-c.damp) > c.off+0.02 || math.Abs(heavy-c.heavy) > c.off {
				t.Fatalf("%v mm in hour %d: 0.25 mm with chance %.3f, 2.5 mm with %.3f", c.mm, h, damp, heavy)
			}
		}
	}
}

// Amounts that tell little are learned to tell little; those that are right, to be
// right. Only wet hours are counted, and no fit is drawn towards more rain by that.
func TestTheWorthOfAmountsIsLearned(t *testing.T) {
	rnd := rand.New(rand.NewPCG(8, 15))
	for _, c := range []struct {
		want  forecast.AmountFit
		usual float64 // mean logarithm of the run's amounts
	}{
		{forecast.AmountFit{Slope: 1, Spread: 0.5}, 0.7},
		{forecast.AmountFit{Slope: 1, Spread: 0.35}, 3.5}, // no hour lies near the threshold
		{forecast.AmountFit{Shift: -0.2, Slope: 0.25, Spread: 1}, 0.7},
		// A fifth and a third of the hours are too dry to count.
		{forecast.AmountFit{Shift: -0.3, Slope: 0.8, Spread: 1.2}, -0.5},
		{forecast.AmountFit{Shift: -1.5, Slope: 0.5, Spread: 1.3}, -0.5},
	} {
		var counts forecast.Counts
		at := weekZero
		for range 1500 {
			f := hourly(at, 12, func(int) float64 { return 1 }, dry)
			rain := &forecast.Rain{Start: at, MM: make([]float64, 12)}
			// All day the same: a run's hours are taken together.
			mm := math.Exp(c.usual + 0.6*rnd.NormFloat64())
			for i := range f.Hours {
				f.Hours[i].Values[forecast.RainMM] = unit.Some(mm)
			}
			for h := range rain.MM {
				rain.MM[h] = math.Exp(c.want.Shift + c.want.Slope*math.Log(mm) + c.want.Spread*rnd.NormFloat64())
			}
			s, _ := f.Stated()
			counts.Merge(forecast.CountDue([]forecast.Stated{s}, rain, at, at.Add(12*time.Hour)))
			at = at.Add(24 * time.Hour)
		}
		cal, _ := forecast.LearnCounts(&counts, &counts, false)
		near := func(got, want float64) bool { return math.Abs(got-want) <= 0.1 }
		if got := cal.Amounts; !near(got.Shift, c.want.Shift) || !near(got.Slope, c.want.Slope) ||
			!near(got.Spread, c.want.Spread) || !(got.Unsaid <= 0.001) {
			t.Errorf("learned %+v of amounts that are %+v", got, c.want)
		}
	}
}
