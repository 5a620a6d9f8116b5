package concrete

import (
	"math"
	"testing"

	"dryslot/internal/checkedtest"
)

func TestLifting(t *testing.T) {
	const source = "from memory: NIOSH 94-110"
	// A floor lift of an 80 lb bag 20 times an hour.
	for cm, want := range map[float64]float64{30: 3.4, 40: 4.5, 45: 5.1} {
		checkedtest.Near(t, source, "index of an 80 lb bag", LiftingIndex(pounds(80), 20, cm), want, 0.05)
	}
	best := Lift{HandsOutIn: 10, FromIn: 30, TravelIn: 10}
	for lbs, want := range map[float64]float64{80: 1.57, 60: 1.18, 50: 0.98, 40: 0.78} {
		checkedtest.Near(t, source, "bag over the best lift's limit", float64(pounds(lbs)/LiftWeight(best)), want,
			0.006)
	}
	// Applications Manual, example 1: a fair grip below knuckle height; exact 16.0 and 14.3 lb.
	checkedtest.Near(t, source, "manual example 1, origin", LiftWeight(Lift{HandsOutIn: 23, FromIn: 15, TravelIn: 48,
		Grip: 0.95}).Pounds(), 16.0, 0.05)
	checkedtest.Near(t, source, "manual example 1, destination", LiftWeight(Lift{HandsOutIn: 23, FromIn: 63,
		TravelIn: 48}).Pounds(), 14.3, 0.05)
	// Examples of loading supply rolls, and of loading bags into a hopper: printed
	// with rounded multipliers.
	checkedtest.Near(t, source, "manual, supply rolls", LiftWeight(Lift{HandsOutIn: 20, FromIn: 27, TravelIn: 33,
		Grip: 0.90}).Pounds(), 19.6, 0.2)
	checkedtest.Near(t, source, "manual, bags into a hopper", LiftWeight(Lift{HandsOutIn: 18, FromIn: 15,
		TravelIn: 21, TwistDeg: 45, Grip: 0.95}).Pounds(), 18.9, 0.4)
	a, b := LiftWeight(Lift{HandsOutIn: 12, FromIn: 30, TravelIn: 20}), LiftWeight(Lift{HandsOutIn: 12, FromIn: 30,
		TravelIn: 20, TwistDeg: 45, PerMinute: 3, WorkHours: 2, Grip: 0.9})
	if b >= a {
		t.Errorf("twisting, often, with a poor grip allows more: %v, %v", b, a)
	}
	if LiftWeight(Lift{HandsOutIn: 26, FromIn: 30, TravelIn: 10}) != 0 || !math.IsInf(LiftingIndex(pounds(80), 60*20,
		30), 1) {
		t.Error("out of reach, or twenty a minute, something may be lifted")
	}
}

func TestLiftingMoreOftenNeverAllowsMore(t *testing.T) {
	for hours := range 9 {
		last := math.Inf(1)
		for perMinute := 0.1; perMinute < 20; perMinute += 0.1 {
			w := float64(LiftWeight(Lift{HandsOutIn: 12, TravelIn: 30, PerMinute: perMinute,
				WorkHours: float64(hours)}))
			if w > last {
				t.Fatalf("%d h, %v a minute: %v, before %v", hours, perMinute, w, last)
			}
			last = w
		}
	}
}

func TestFinishedPads(t *testing.T) {
	kg := FinishedWeight(46 * 46 * 2 * 2.54 * 2.54 * 2.54 / 1000)
	checkedtest.Near(t, checkedtest.CommonPractice+": 46 x 46 x 2 in", "lb", kg.Pounds(), 350, 4)
	for kg, people := range map[float64]int{20: 1, 30: 2, 34: 3, 40: 0, 160: 0} {
		if got := TeamLift(FinishedWeight(kg / 2.3)); got != people {
			t.Errorf("%v kg: %d people, want %d", kg, got, people)
		}
	}
	if LiftRule(pounds(20), 5) != nil || LiftRule(pounds(80), 20) == nil {
		t.Error("a light bag is called heavy, or a heavy one light")
	}
}
