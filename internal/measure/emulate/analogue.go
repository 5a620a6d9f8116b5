package emulate

import (
	"math"
	"time"
)

// Analogue is a day of the record that may be like a day to come.
type Analogue struct {
	Weight float64 // of all the day's analogues they sum to 1
	rain   []float64
	begin  int // hour of rain at which the day begins
}

// Rain returns the day's rain in mm in an hour counted from its midnight; hours
// before 0 and from 24 on are those of the days beside it, NaN where the record
// does not have them.
func (a *Analogue) Rain(hour int) float64 {
	if h := a.begin + hour; h >= 0 && h < len(a.rain) {
		return a.rain[h]
	}
	return math.NaN()
}

// Analogues returns the days that may be like day d, as of the newest forecast
// at an instant; none where the record has no other day of the season.
func (s *Station) Analogues(n *Noise, at time.Time, d int) []Analogue {
	if d < 0 || d >= s.Days() {
		return nil
	}
	run := s.runFor(at, d)
	f, _ := s.signal(n, d, run)
	w := s.weights(nil, n, d, run, f)
	out := make([]Analogue, len(w))
	for i, k := range s.season[d] {
		o, day := s.peer(k)
		out[i] = Analogue{w[i], o.RainMM, o.hourOfDay(day)}
	}
	return out
}

// runFor returns the newest run of day d at an instant.
func (s *Station) runFor(at time.Time, d int) int {
	return runOf(s.first.Add(time.Duration(d)*dayHours*time.Hour + 12*time.Hour).Sub(at).Hours())
}

// Midnight returns the hour of the record at which day d begins.
func (s *Station) Midnight(d int) int { return s.hourOfDay(d) }

// Midday returns 12 o'clock of day d, which may lie outside the record.
func (s *Station) Midday(d int) time.Time {
	return s.first.Add(time.Duration(d)*dayHours*time.Hour + 12*time.Hour)
}
