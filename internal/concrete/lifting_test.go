package concrete

import (
	"testing"

	"dryslot/internal/checkedtest"
)

func TestLifting(t *testing.T) {
	const niosh = "from memory: NIOSH lifting equation 1991"
	for lbs, want := range map[float64]float64{80: 1.57, 60: 1.18, 50: 0.98, 40: 0.78} {
		checkedtest.Near(t, niosh, "index of a bag", LiftingIndex(pounds(lbs)), want, 0.006)
		if (LiftRule(pounds(lbs)) == nil) != (want <= 1) {
			t.Errorf("%v lb: %v", lbs, LiftRule(pounds(lbs)))
		}
	}
	// Applications Manual, example 1: a fair grip below knuckle height; exact 16.0 and 14.3 lb.
	checkedtest.Near(t, niosh, "manual example 1, origin", LiftWeight(Lift{HandsOutIn: 23, FromIn: 15, TravelIn: 48, Grip: 0.95}).Pounds(), 16.0, 0.05)
	checkedtest.Near(t, niosh, "manual example 1, destination", LiftWeight(Lift{HandsOutIn: 23, FromIn: 63, TravelIn: 48}).Pounds(), 14.3, 0.05)
	if a, b := LiftWeight(Lift{HandsOutIn: 12, FromIn: 30, TravelIn: 20}), LiftWeight(Lift{HandsOutIn: 12, FromIn: 30, TravelIn: 20, TwistDeg: 45, Frequency: 0.8, Grip: 0.9}); b >= a {
		t.Errorf("twisting, often, with a poor grip allows more: %v, %v", b, a)
	}
}
