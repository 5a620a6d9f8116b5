package forecast

import (
	"cmp"
	"math"
	"slices"
	"time"

	"dryslot/internal/unit"
)

// Scenarios is M equally likely weathers for one place, hour by hour from
// Start. Everything after the feeds reads scenarios only. A window's chance is
// counted over members, never multiplied up from hourly chances.
type Scenarios struct {
	Start   time.Time // a whole hour of UTC
	Hours   int
	WetMM   float64   // the feed's wet event: more than this in its hour
	Members []Weather // equally likely
	Tracks  int       // how many different dry weathers the members share
	AirC    []float64 // the feed's own air temperature, as pages and alerts state it; nil: not kept
}

// Weather is one of the equally likely weathers. Every slice has one value an
// hour; NaN is unknown and counts against the morning. Members with the same
// Track share every slice but RainMM, so that a slab computed for a track
// serves all of them.
type Weather struct {
	Track        int
	RainMM       []float64 // the hour's sum
	AirC         []float64 // at the hour's start
	HumidityPct  []float64
	WindMS       []float64 // at 10 m
	CloudPct     []float64
	ShortwaveWM2 []float64 // the hour's mean on the level
	Thunder      []bool    // thunder in the hour
}

// Index returns the hour of t within the scenarios, and whether it is within.
func (s *Scenarios) Index(t time.Time) (int, bool) {
	h := int(t.Sub(s.Start).Hours())
	if t.Before(s.Start) || h >= s.Hours {
		return 0, false
	}
	return h, true
}

// What of a day is looked at for its middle track.
const (
	middleFrom  = unit.Clock(6 * 60)
	middleHours = 12
)

// MiddleTrack returns the track whose mean air temperature over the day is the
// middle one: figures of a pad are given for it.
func (s *Scenarios) MiddleTrack(day unit.Date, zone *time.Location) int {
	type warm struct {
		track int
		mean  float64
	}
	var all []warm
	seen := make([]bool, s.Tracks)
	at := max(0, min(int(day.At(middleFrom, zone).Sub(s.Start)/time.Hour), s.Hours-1))
	for i := range s.Members {
		w := &s.Members[i]
		if seen[w.Track] {
			continue
		}
		seen[w.Track] = true
		sum, n := 0.0, 0
		for _, c := range w.AirC[at:min(at+middleHours, len(w.AirC))] {
			if !math.IsNaN(c) {
				sum += c
				n++
			}
		}
		if n > 0 {
			all = append(all, warm{w.Track, sum / float64(n)})
		}
	}
	if len(all) == 0 {
		return s.Members[0].Track
	}
	slices.SortFunc(all, func(a, b warm) int { return cmp.Or(cmp.Compare(a.mean, b.mean), a.track-b.track) })
	return all[len(all)/2].track
}
