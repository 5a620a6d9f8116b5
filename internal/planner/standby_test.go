package planner

import (
	"math/rand/v2"
	"testing"

	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
)

// Two gaps beside a shower at noon are told, with the pads that a crew makes of
// them: what is poured before it must have set.
func TestWhatACrewMakesOfShowers(t *testing.T) {
	noon := jobtest.JobFor(jobtest.JobJ12(), jobtest.Weather(6, 60, 1, func(_, _ int) float64 {
		return 24
	}, func(m, h int) float64 {
		if at := h % 24; h < 48 && (at == 13 && m%4 > 0 || at == 12+m%3 && m%5 == 0) {
			return 3 + float64(m)/100
		}
		return 0
	}), 4)
	noon.Spec.Crew.EarliestStart, noon.Days = 4*60+30, jobtest.Light(jobtest.Begin, 5, "03:30", "22:00")
	x := mustMake(t, noon).Mornings[0].StandBy
	if x == nil || len(x.Gaps) != 2 || x.Likely < 1 || x.UpTo < x.Likely {
		t.Fatalf("it tells %+v", x)
	}
	if from, until := x.Gaps[0].From.Hour(), x.Gaps[0].Until.Hour(); from > 5 || until > 9 {
		t.Errorf("the first gap is %s to %s: what is poured later is soft at 13:00", x.Gaps[0].From, x.Gaps[0].Until)
	}
	if from := x.Gaps[1].From.Hour(); from < 13 {
		t.Errorf("the second gap begins at %s, in the rain", x.Gaps[1].From)
	}
	if x.Data[0].Code != job.StandByPads && x.Data[0].Code != job.StandByHeld || x.Data[1].Code != job.StandByTwo {
		t.Errorf("it says %s, %s", x.Data[0], x.Data[1])
	}
}

// On a dry morning nothing is told of showers, nor of mornings that come later; what
// is told is never less likely than what is told to be likely.
func TestStandByOfAnyJob(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	told := 0
	for i := range 150 {
		in := anyJob(r)
		res := mustMake(t, in)
		for k, m := range res.Mornings {
			x := m.StandBy
			if x == nil {
				continue
			}
			told++
			if x.Likely > x.UpTo || x.UpTo < 1 || x.Lost < 0 || x.Lost > float64(x.UpTo) {
				t.Errorf("job %d, morning %d: %+v", i, k, x)
			}
			for g := range x.Gaps {
				if !x.Gaps[g].From.Before(x.Gaps[g].Until) || g > 0 && x.Gaps[g].From.Before(x.Gaps[g-1].Until) {
					t.Errorf("job %d, morning %d: gaps %+v", i, k, x.Gaps)
				}
			}
		}
	}
	if told < 10 {
		t.Errorf("only %d mornings tell of showers", told)
	}
}
