package hourly

import (
	"math"

	"dryslot/internal/forecast/belief"
)

// Harm is what an hour of rain does to soft concrete: chances of being lost, by
// how the pad lies, and of having to be inspected.
type Harm struct {
	LightMM, HeavyMM, ExtremeMM float64 // an hour of this or more
	// By light, heavy and extreme rain.
	Open, InTime, Late [3]float64 // lost: uncovered, covered before the rain, covered in it
	Inspect            float64    // to be inspected, when rain touched it and it is not lost
	Marked             float64    // to be inspected, when only the cover touched it
}

// Rain is classed by amount; unknown rain is taken as the worst.
func (h *Harm) class(mm float64) int {
	switch {
	case !(mm < h.ExtremeMM):
		return 2
	case mm >= h.HeavyMM:
		return 1
	case mm >= h.LightMM:
		return 0
	}
	return -1
}

// fate is what may become of a pad: chances, and what covering it costs, in days.
type fate struct{ lost, inspect, work float64 }

// of returns what the rain of a member does to a pad that is soft from one
// minute to another. Each hour that is touched counts whole, the worst of them
// once. A pad that can be covered is covered before an hour of rain that the
// nowcast tells of the hour before, else in the rain.
func (h *Harm) of(rain []float64, from, set float64, covers bool, ch *belief.Channel) fate {
	worst, at := -1, 0
	for k := int(math.Floor(from / 60)); float64(k) < set/60; k++ {
		c := 2
		if k < len(rain) {
			c = h.class(rain[k])
		}
		if c > worst {
			worst, at = c, k
		}
	}
	if worst < 0 {
		return fate{}
	}
	lost := h.Open[worst]
	if covers {
		told := 0.0
		if at > 0 && at < len(rain) {
			told = ch.Told(belief.NextHour, rain[at-1], rain[at], 0)
		}
		lost = told*h.InTime[worst] + (1-told)*h.Late[worst]
	}
	return fate{lost: lost, inspect: (1 - lost) * h.Inspect}
}

// Judged returns the harm that the planning rules give rain on soft concrete
// (judgement: no standard gives a figure): light from 0.25 mm in the hour, heavy
// from 2.5, extreme from 7.6. harsh is the harsher reading of what covers save.
func Judged(harsh bool) Harm {
	h := Harm{LightMM: 0.25, HeavyMM: 2.5, ExtremeMM: 7.6, Open: [3]float64{0.1, 1, 1},
		InTime: [3]float64{0.05, 0.1, 1}, Late: [3]float64{0.12, 0.5, 1}, Inspect: 1, Marked: 0.3}
	if harsh {
		h.InTime, h.Late = [3]float64{0.12, 0.25, 1}, [3]float64{0.2, 0.8, 1}
	}
	return h
}
