package planner

import (
	"slices"
	"testing"

	"dryslot/internal/concrete"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
)

// A spell of cold lasts beyond its last cold day, until the air is above 10 C
// for half of a day (ACI 306R-88, from memory).
func TestAColdSpellIsTold(t *testing.T) {
	air := func(_, h int) float64 {
		if h < 5*24 {
			return 3
		}
		return 6
	}
	told := func(air func(_, h int) float64) bool {
		r := mustMake(t, jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(10, 10, 1, air, jobtest.Dry), 7))
		return slices.ContainsFunc(r.Mornings[6].Cautions, func(c job.Caution) bool { return c.Code == "cold-spell" })
	}
	if !told(air) {
		t.Error("a spell of cold goes untold on the milder day after it")
	}
	if told(func(_, _ int) float64 { return 6 }) {
		t.Error("a cold spell is told of mild days")
	}
}

// warmUnder is plain slabs that freeze without a blanket, and whose surface stays
// at 40 C.
type warmUnder struct{ *jobtest.PlainSlabs }

func (w warmUnder) Behave(q slabs.Query) *concrete.Behaviour {
	b := w.PlainSlabs.Behave(q)
	b.SurfaceC, b.Freezes = slices.Repeat([]float64{40}, 72), q.Cover == ""
	b.UncoverFrom = b.FrostSafe
	return b
}

// 28 K within a day is the most that a thin slab bears when its cover comes
// off (ACI 306R, from memory).
func TestTheDropAtUncoveringIsTold(t *testing.T) {
	for _, c := range []struct {
		air  float64
		want bool
	}{{10, true}, {14, false}} {
		wx := jobtest.Weather(6, 10, 1, func(_, _ int) float64 { return c.air }, jobtest.Dry)
		in := jobtest.JobFor(jobtest.JobJ4(), wx, 3)
		in.Slabs = warmUnder{&jobtest.PlainSlabs{Weather: wx}}
		in.Spec.Stock.Covers = []pour.Cover{{Kind: "blanket", Pads: 4}}
		r := mustMake(t, in)
		got := slices.ContainsFunc(r.Mornings[0].Cautions, func(x job.Caution) bool { return x.Code == "uncover-drop" })
		if got != c.want {
			t.Errorf("a surface of 40 C uncovered at %v C: told %v", c.air, got)
		}
	}
}
