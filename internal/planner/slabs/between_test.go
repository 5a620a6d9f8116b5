package slabs

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/pour"
)

// The log and this minute's answer tell of a pad what its plan told.
func TestAPlacedPadHasThePlansTimes(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 11))
	for range 40 {
		spec := pour.DefaultSpec()
		spec.Latitude, spec.Longitude = 40, -80
		wx := invented(r)
		s, err := New(spec, wx, Options{})
		if err != nil {
			t.Fatal(err)
		}
		kind := KindOf(spec, pour.Pad{Name: "A", LengthM: 1, WidthM: 1, ThicknessM: 0.05 + 0.1*r.Float64()})
		minute := float64(24*60 + r.IntN(40*60))
		n := NodesOf(s, Grid{Start: wx.Start, Hours: wx.Hours, Tracks: 1}, kind)
		plan := n.Whole(0, minute)
		b := Between(s, Query{Kind: kind, Placed: wx.Start.Add(time.Duration(minute) * time.Minute)})
		for what, x := range map[string][2]float64{"initial set": {plan.Initial, minutes(b.InitialSet)},
			"opens": {plan.From, minutes(b.FinishFrom)}, "closes": {plan.Until, minutes(b.FinishUntil)},
			"strip": {plan.Strip, minutes(b.StripFrom)}, "cured": {plan.Cured, minutes(b.CuredBy)}} {
			if x[0] != x[1] && !(math.Abs(x[0]-x[1]) < 1e-6) {
				t.Errorf("%s at minute %g: planned %g, placed %g", what, minute, x[0], x[1])
			}
		}
	}
}
