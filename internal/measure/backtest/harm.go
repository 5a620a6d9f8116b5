package backtest

import (
	"math"

	"dryslot/internal/planner/harm"
)

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
		if !harm.Touches(mm) {
			continue
		}
		out.inspect = 1
		out.lost = max(out.lost, s.lossInHour(p, h, mm, w))
	}
	if harm.Marks(s.mostRain(set, min(final, set+24*60))) {
		out.inspect = 1
	}
	if p.coverOn < math.Inf(1) && out.inspect == 0 {
		out.inspect = harm.MarkedByCover
	}
	return out
}

// lossInHour returns the chance that an hour's rain of 0.25 mm or more loses a
// soft pad.
func (s *Site) lossInHour(p *padRun, hour, mm float64, w Powers) float64 {
	lies := harm.Open
	switch {
	case p.coverOn <= s.rainBegins(hour):
		lies = harm.CoveredInTime
	case p.coverOn < (hour+1)*60:
		lies = harm.CoveredLate
	}
	soft := &s.soft[0]
	if w.Harsh {
		soft = &s.soft[1]
	}
	return soft.Lost(soft.Intensity(mm), lies)
}

// rainBegins returns the minute at which an hour's rain begins.
func (s *Site) rainBegins(hour float64) float64 {
	return hour*60 + 60*s.nowcasts[0].Begins(int(hour))
}
