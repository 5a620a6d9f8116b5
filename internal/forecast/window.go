package forecast

import "time"

// WindowWet returns the share of members that see more than mm millimetres of
// rain in some hour that [from, to) touches. An hour that is unknown, or that
// lies outside the scenarios, counts as wet. An empty window is dry.
func (s *Scenarios) WindowWet(from, to time.Time, mm float64) float64 {
	return s.window(from, to, func(x float64) bool { return !(x <= mm) })
}

// WindowReaching returns the share of members in which some hour that
// [from, to) touches has mm millimetres of rain or more, counted as WindowWet.
func (s *Scenarios) WindowReaching(from, to time.Time, mm float64) float64 {
	return s.window(from, to, func(x float64) bool { return !(x < mm) })
}

// ChanceWet returns the share of members that see more than mm in hour h of
// the scenarios; 1 where it is unknown.
func (s *Scenarios) ChanceWet(h int, mm float64) float64 {
	at := s.Start.Add(time.Duration(h) * time.Hour)
	return s.WindowWet(at, at.Add(time.Hour), mm)
}

func (s *Scenarios) window(from, to time.Time, hit func(float64) bool) float64 {
	if !from.Before(to) || len(s.Members) == 0 {
		return 0
	}
	a, b := s.Span(from, to)
	if a < 0 || b > s.Hours {
		return 1
	}
	n := 0
	for i := range s.Members {
		for _, x := range s.Members[i].RainMM[a:b] {
			if hit(x) {
				n++
				break
			}
		}
	}
	return float64(n) / float64(len(s.Members))
}

// Span returns the hours [a, b) that [from, to) touches; they may lie outside
// the scenarios.
func (s *Scenarios) Span(from, to time.Time) (a, b int) {
	a = int(floorHours(from.Sub(s.Start)))
	b = int(-floorHours(s.Start.Sub(to)))
	return a, max(a, b)
}

func floorHours(d time.Duration) int64 {
	n := int64(d / time.Hour)
	if d%time.Hour < 0 {
		n--
	}
	return n
}
