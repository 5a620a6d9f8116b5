package backtest

import (
	"math"

	"dryslot/internal/planner/harm"
)

// Rain that harms, mm in an hour.
const (
	lightMM    = harm.LightMM
	moderateMM = harm.ModerateMM
	heavyMM    = harm.HeavyMM
)

// lightLoses is the chance that light rain loses a soft pad that lies open
// (judgement: published guidance says remedy, not removal).
const lightLoses = 0.1

// coverLoses are the chances that a soft pad under propped plastic is lost
// (judgement), covered before the rain began or in it.
type coverLoses struct{ lightInTime, lightLate, moderateInTime, moderateLate float64 }

func (p Powers) coverLoses() coverLoses {
	if p.Harsh {
		return coverLoses{0.12, 0.2, 0.25, 0.8}
	}
	return coverLoses{0.05, 0.12, 0.1, 0.5}
}

// markedByCover is the chance that a pad covered while soft, on which no rain
// fell, has to be looked at for marks (judgement).
const markedByCover = 0.3

// fate is what the weather does to a pad: the chance that it is lost, and the
// chance that it has to be inspected if it is not.
type fate struct{ lost, inspect float64 }

// judge finds a pad's fate. Unknown rain counts against it.
func (s *Site) judge(p *padRun, w Powers) fate {
	if p.slab.freezes {
		return fate{lost: 1}
	}
	var out fate
	set, final := p.place0+p.slab.initial, p.place0+p.slab.final
	for h := math.Floor(p.place0 / 60); h < set/60; h++ {
		mm := s.rain(h * 60)
		if mm < lightMM {
			continue
		}
		out.inspect = 1
		out.lost = max(out.lost, s.lossInHour(p, h, mm, w))
	}
	if s.mostRain(set, min(final, set+24*60)) >= heavyMM {
		out.inspect = 1
	}
	if p.coverOn < math.Inf(1) && out.inspect == 0 {
		out.inspect = markedByCover
	}
	return out
}

// lossInHour returns the chance that an hour's rain of 0.25 mm or more loses a
// soft pad.
func (s *Site) lossInHour(p *padRun, hour, mm float64, w Powers) float64 {
	covered := p.coverOn < (hour+1)*60
	c := w.coverLoses()
	switch {
	case math.IsNaN(mm) || mm > heavyMM:
		return 1
	case !covered && mm >= moderateMM:
		return 1
	case !covered:
		return lightLoses
	case mm >= moderateMM && p.coverOn <= s.rainBegins(hour):
		return c.moderateInTime
	case mm >= moderateMM:
		return c.moderateLate
	case p.coverOn <= s.rainBegins(hour):
		return c.lightInTime
	}
	return c.lightLate
}

// rainBegins returns the minute at which an hour's rain begins.
func (s *Site) rainBegins(hour float64) float64 {
	return hour*60 + 60*s.nowcasts[0].Begins(int(hour))
}
