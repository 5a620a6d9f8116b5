package learn

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

var dawn = time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC)

func v(x float64) *float64 { return &x }

func terrace(n int) pour.Spec {
	s := pour.DefaultSpec()
	for i := range n {
		s.Pads = append(s.Pads, pour.Pad{Name: fmt.Sprintf("T%d", i), LengthM: 1.2, WidthM: 0.9, ThicknessM: 0.075})
	}
	return s
}

// logOf has every pad placed at so many bags an hour and so much water, and
// finished from begin on after placing.
func logOf(s pour.Spec, bagsPerHour, waterL float64, begin time.Duration) (log []pour.LogEntry, predicted []Predicted) {
	for i, p := range s.Pads {
		at := dawn.Add(time.Duration(i) * 2 * time.Hour)
		work := p.AreaM2() * s.Crew.FinishMinPerM2
		log = append(log,
			pour.LogEntry{ID: "p" + p.Name, Kind: pour.EntryPlaced, Pad: p.Name, At: at, Bags: v(5),
				WaterL: v(5 * waterL), Minutes: v(5/bagsPerHour*60 + p.AreaM2()*s.Crew.StrikeOffMinPerM2)},
			pour.LogEntry{ID: "f" + p.Name, Kind: pour.EntryFinished, Pad: p.Name,
				At: at.Add(begin + time.Duration(work*float64(time.Minute))), Minutes: v(work)})
		predicted = append(predicted, Predicted{Pad: p.Name, PlacedAt: at, FinishFrom: 2 * time.Hour,
			FinishUntil: 4 * time.Hour})
	}
	return log, predicted
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %v, not %v", what, got, want)
	}
}

func TestNothingLoggedCorrectsNothing(t *testing.T) {
	s := terrace(2)
	c := FromLog(s, nil, nil)
	if !reflect.DeepEqual(c.Apply(s), s) || len(c.List()) != 0 || c.SetFactor.Value != 1 || c.FinishLag.Value != 1 {
		t.Errorf("got %+v", c)
	}
}

func TestShrinkage(t *testing.T) {
	for _, n := range []int{1, 3, 12, 60} {
		s := terrace(n)
		log, predicted := logOf(s, 5, 3.4, 150*time.Minute)
		c := FromLog(s, log, predicted)
		near(t, "observed bags an hour", c.BagsPerHour.Observed, 5, 1e-9)
		near(t, "observed water", c.WaterLPerBag.Observed, 3.4, 1e-9)
		near(t, "observed finishing", c.FinishMinPerM2.Observed, 12, 1e-9)
		near(t, "lag", c.FinishLag.Observed, 1.25, 1e-9)
		near(t, "set factor, finished in the window", c.SetFactor.Value, 1, 1e-9)
		w := float64(n) / float64(n+Handbook)
		near(t, fmt.Sprintf("%d pads", n), c.BagsPerHour.Value, 7*math.Pow(5.0/7, w), 1e-9)
		if c.BagsPerHour.Entries != n || len(c.List()) != 5 || c.BagsPerHour.Text == "" {
			t.Errorf("%d pads: %+v", n, c.BagsPerHour)
		}
		got := c.Apply(s)
		if got.Crew.BagsPerHour != c.BagsPerHour.Value || s.Crew.BagsPerHour != 7 || got.Mix.WaterLPerBag <= 2.8 ||
			got.Mix.WaterLPerBagMax < got.Mix.WaterLPerBag {
			t.Errorf("applied %+v", got.Mix)
		}
	}
}

func TestSetFactorMovesOnlyOutsideTheWindow(t *testing.T) {
	s := terrace(3)
	const work = 12960 * 60 * time.Millisecond // 1.08 m2 at 12 minutes
	for _, c := range []struct {
		begin time.Duration
		ratio float64
	}{{90 * time.Minute, 0.75}, {121 * time.Minute, 1}, {200 * time.Minute, 1}, {6*time.Hour - work, 1.5}} {
		log, predicted := logOf(s, 7, 2.8, c.begin)
		got := FromLog(s, log, predicted).SetFactor
		near(t, "observed after "+c.begin.String(), got.Observed, c.ratio, 1e-6)
		near(t, "planned after "+c.begin.String(), got.Value, math.Sqrt(c.ratio), 1e-6)
	}
}

// What a builder confirms in the evening has the plan's times: it says nothing of
// how the crew and the mix differ from it.
func TestWhatIsConfirmedAfterwardsTeachesNoTimes(t *testing.T) {
	s := terrace(3)
	for _, kind := range []pour.EntryKind{pour.EntryPlaced, pour.EntryFinished} {
		log, predicted := logOf(s, 7, 2.8, 5*time.Hour)
		for i := range log {
			log[i].Confirmed = log[i].Kind == kind
		}
		if c := FromLog(s, log, predicted); c.SetFactor.Entries+c.FinishLag.Entries != 0 {
			t.Errorf("%s confirmed: %+v, %+v", kind, c.SetFactor, c.FinishLag)
		}
	}
}

func TestAPadPouredAgainIsTwoCastings(t *testing.T) {
	s := terrace(1)
	first, again := dawn, dawn.Add(24*time.Hour)
	log := []pour.LogEntry{
		{ID: "1", Kind: pour.EntryPlaced, Pad: "T0", At: first, Bags: v(5), Minutes: v(60)},
		{ID: "2", Kind: pour.EntryRainedOn, Pad: "T0", At: first.Add(time.Hour), RainMM: v(5)},
		{ID: "3", Kind: pour.EntryLost, Pad: "T0", At: first.Add(2 * time.Hour)},
		// of no casting: the pad is lost
		{ID: "4", Kind: pour.EntryFinished, Pad: "T0", At: first.Add(3 * time.Hour), Minutes: v(13)},
		{ID: "5", Kind: pour.EntryPlaced, Pad: "T0", At: again, Bags: v(5), Minutes: v(60)},
		{ID: "6", Kind: pour.EntryFinished, Pad: "T0", At: again.Add(3 * time.Hour)},
	}
	predicted := []Predicted{{"T0", first, 2 * time.Hour, 4 * time.Hour, 0}, {"T0", again, 2 * time.Hour,
		4 * time.Hour, 0}}
	c := FromLog(s, log, predicted)
	if c.BagsPerHour.Entries != 2 || c.SetFactor.Entries != 1 || c.FinishMinPerM2.Entries != 0 ||
		c.WaterLPerBag.Entries != 0 {
		t.Errorf("got %+v", c)
	}
}

func TestEntriesThatSayNothingAreLeftOut(t *testing.T) {
	s := terrace(1)
	for _, e := range []pour.LogEntry{
		{Kind: pour.EntryPlaced, Pad: "T0", At: dawn},
		{Kind: pour.EntryPlaced, Pad: "T0", At: dawn, Bags: v(0), WaterL: v(3), Minutes: v(30)},
		{Kind: pour.EntryPlaced, Pad: "T0", At: dawn, Bags: v(5), WaterL: v(0), Minutes: v(0)},
		{Kind: pour.EntryPlaced, Pad: "T0", At: dawn, Minutes: v(-10)},
		{Kind: pour.EntryPlaced, Pad: "T0", At: dawn, Bags: v(5), WaterL: v(math.NaN()), Minutes: v(math.Inf(1))},
		{Kind: pour.EntryPlaced, Pad: "gone", At: dawn, Bags: v(5), WaterL: v(14), Minutes: v(50)},
		{Kind: pour.EntryFinished, Pad: "T0", At: dawn, Minutes: v(10)},
		{Kind: pour.EntryNote, Pad: "T0", At: dawn, Minutes: v(10), Bags: v(3)},
	} {
		if c := FromLog(s, []pour.LogEntry{e}, nil); len(c.List()) != 0 {
			t.Errorf("%+v: %+v", e, c.List())
		}
	}
}

// TestLearningIsSound holds over random logs: the value lies between handbook
// and observation, the order of the log does not matter, one slip of the pen
// can't carry it away, and without the entries the handbook is back.
func TestLearningIsSound(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 32))
	for range 500 {
		s := terrace(1 + r.IntN(10))
		log, predicted := logOf(s, 2+r.Float64()*12, 2+r.Float64()*3, time.Duration(r.Float64()*8*float64(time.Hour)))
		c := FromLog(s, log, predicted)
		for _, x := range c.List() {
			lo, hi := min(x.Handbook, x.Observed), max(x.Handbook, x.Observed)
			if x.Value < lo-1e-12 || x.Value > hi+1e-12 {
				t.Fatalf("%+v lies outside", x)
			}
		}
		r.Shuffle(len(log), func(i, j int) { log[i], log[j] = log[j], log[i] })
		d := FromLog(s, log, predicted)
		if math.Abs(d.BagsPerHour.Value-c.BagsPerHour.Value) > 1e-12 ||
			math.Abs(d.SetFactor.Value-c.SetFactor.Value) > 1e-12 {
			t.Fatalf("order matters: %+v, %+v", c, d)
		}
		slip := append([]pour.LogEntry{{ID: "s", Kind: pour.EntryPlaced, Pad: "T0", At: dawn.Add(-time.Hour),
			Bags: v(5000), Minutes: v(1)}}, log...)
		e := FromLog(s, slip, predicted)
		if e.BagsPerHour.Value > c.BagsPerHour.Value*math.Pow(most, 2.0/(1+Handbook)) {
			t.Fatalf("one slip moved %v to %v", c.BagsPerHour.Value, e.BagsPerHour.Value)
		}
	}
}

// Half a quart a bag more than the label costs what the trade says: 150 to 200
// psi for a gallon in a cubic yard (quoted by suppliers).
func TestWaterBeyondTheLabelCostsStrengthInPlanning(t *testing.T) {
	s := pour.DefaultSpec()
	c := FromLog(s, nil, nil)
	c.WaterLPerBag.Value = s.Mix.WaterLPerBag
	if got := c.Apply(s).Mix.Strength28dMPa; got != s.Mix.Strength28dMPa {
		t.Errorf("the label's water costs strength: %v", got)
	}
	c.WaterLPerBag.Value = 2.5
	if got := c.Apply(s).Mix.Strength28dMPa; got != s.Mix.Strength28dMPa {
		t.Errorf("less water is counted as a gain: %v", got)
	}
	c.WaterLPerBag.Value = s.Mix.WaterLPerBag + unit.LitresPerQuart/2
	low, high := concrete.ExtraWaterLoss(unit.LitresPerQuart/2, s.Mix.YieldLPerBag)
	if lost := s.Mix.Strength28dMPa - c.Apply(s).Mix.Strength28dMPa; lost < low || lost > high {
		t.Errorf("half a quart more a bag costs %.1f MPa, the trade says %.1f to %.1f", lost, low, high)
	}
	s.Mix.CementFraction = nil
	if got := c.Apply(s).Mix.Strength28dMPa; !(got < s.Mix.Strength28dMPa) {
		t.Errorf("with an unknown cement content more water costs nothing: %v", got)
	}
}
