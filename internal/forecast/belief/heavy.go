package belief

import (
	"math"

	"dryslot/internal/forecast"
)

// wetHours is how many hours are wet and how many of these are heavy.
type wetHours struct{ wet, heavy float64 }

func (w *wetHours) add(mm float64) {
	if mm >= WetMM {
		w.wet++
	}
	if mm >= HeavyMM {
		w.heavy++
	}
}

// heavyOfScenarios counts the wet hours of a member, on average, from an hour on.
func heavyOfScenarios(sc *forecast.Scenarios, first int) wetHours {
	var out wetHours
	for i := range sc.Members {
		for _, mm := range sc.Members[i].RainMM[first:] {
			out.add(mm)
		}
	}
	out.wet /= float64(len(sc.Members))
	out.heavy /= float64(len(sc.Members))
	return out
}

func heavyOfDays(cands []candidate, hours int) wetHours {
	var out wetHours
	for i := range cands {
		for _, mm := range cands[i].rain(hours) {
			out.add(mm)
		}
	}
	return out
}

// fewWet is how many wet hours the library's share of heavy ones counts as beside
// the scenarios' own (judgement).
const fewWet = 0.5

// mostScale is how far the library's rain is multiplied at most (judgement): one
// day's forecast of rain that is all heavy says little of the place's other days.
const mostScale = 20.0

// asHeavy multiplies the rain of the library's days so that as many of their wet
// hours are heavy as of the scenarios', which know the place: days that are like
// its own by latitude and wetness may have another rain. An hour stays wet or dry.
func asHeavy(days [][]float64, place, library wetHours) {
	if !(library.heavy > 0 && library.heavy < library.wet) {
		return
	}
	usual := library.heavy / library.wet
	share := (place.heavy + fewWet*usual) / (place.wet + fewWet)
	if !(share > 0 && share < 1) {
		return
	}
	by := min(max(forecast.ScaleBetween(usual, share), 1/mostScale), mostScale)
	for _, day := range days {
		for h, mm := range day {
			switch x := mm * by; {
			case mm >= WetMM:
				day[h] = max(x, WetMM)
			case mm > 0:
				day[h] = min(x, math.Nextafter(WetMM, 0))
			}
		}
	}
}
