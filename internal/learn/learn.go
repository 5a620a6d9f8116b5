// Package learn owns what a project's log says against the handbook: how
// fast this crew mixes and finishes, how much water it uses, how soon this mix
// sets. Every correction is a function of the log alone, drawn towards the
// handbook while there is little to go by, and can be left out again.
//
//	c := learn.FromLog(spec, log, predicted)
//	spec = c.Apply(spec)
package learn

import (
	"math"
	"slices"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
)

// Handbook is how many logged pads the value given in advance weighs as much
// as (judgement: after three pads the truth is taken to lie half way).
const Handbook = 3

// most is the farthest that one entry may lie from the value given in
// advance, as a ratio: beyond it is a slip of the pen or a day gone wrong,
// which still counts, but as this much (judgement).
const most = 2.5

// Predicted is what was expected of one casting under the weather that it
// had, with a set factor of 1. Durations count from PlacedAt.
type Predicted struct {
	Pad         string
	PlacedAt    time.Time // the log entry's At
	FinishFrom  time.Duration
	FinishUntil time.Duration
	Placing     time.Duration // how long before PlacedAt its placing began
}

// Correction is one value drawn from the log.
type Correction struct {
	Name     string  `json:"name"`     // as in the project, with its unit
	Handbook float64 `json:"handbook"` // given in advance
	Observed float64 `json:"observed"` // mean of the log; the handbook's where nothing was logged
	Value    float64 `json:"value"`    // to plan with, between the two
	Entries  int     `json:"entries"`
	Text     string  `json:"text"` // for the builder; empty where nothing was logged
}

// Corrections is all that a log corrects.
type Corrections struct {
	// BagsPerHour is bags mixed and placed by one person in an hour.
	BagsPerHour Correction `json:"bags_per_hour"`
	// FinishMinPerM2 is person-minutes of finishing to a square metre.
	FinishMinPerM2 Correction `json:"finish_min_per_m2"`
	// WaterLPerBag is the water really used.
	WaterLPerBag Correction `json:"water_l_per_bag"`
	// SetFactor multiplies the handbook's setting times, 1: as the handbook. A
	// finish within its predicted window confirms them, one begun before it or
	// ended after it moves them.
	SetFactor Correction `json:"set_factor"`
	// FinishLag is the time from placing to the start of finishing over the
	// predicted opening of the window: how long this crew waits.
	FinishLag Correction `json:"finish_lag"`
}

// FromLog draws the corrections from a log. Entries without the numbers that
// a correction needs are left out of it, as are castings that nothing was
// predicted for. Order does not matter.
func FromLog(s pour.Spec, log []pour.LogEntry, predicted []Predicted) Corrections {
	pads := make(map[string]pour.Pad, len(s.Pads))
	for _, p := range s.Pads {
		pads[p.Name] = p
	}
	var bags, finish, water, set, lag ratios
	for _, c := range castings(log) {
		p, ok := pads[c.placed.Pad]
		if !ok {
			continue // the pad is no longer part of the project
		}
		bags.add(placingRate(s, p, c.placed), s.Crew.BagsPerHour)
		water.add(perBag(c.placed), s.Mix.WaterLPerBag)
		if c.finished == nil {
			continue
		}
		work := minutes(c.finished)
		finish.add(work*float64(s.Crew.People)/p.AreaM2(), s.Crew.FinishMinPerM2)
		if c.placed.Confirmed || c.finished.Confirmed {
			continue // the times are the plan's own
		}
		if q := find(predicted, c.placed); q != nil {
			if !(work > 0) {
				work = p.AreaM2() * s.Crew.FinishMinPerM2 / float64(s.Crew.People)
			}
			end := c.finished.At.Sub(c.placed.At)
			begin := end - time.Duration(work*float64(time.Minute))
			set.add(setRatio(begin, end, *q), 1)
			lag.add((begin+q.Placing).Hours()/(q.FinishFrom+q.Placing).Hours(), 1)
		}
	}
	return Corrections{
		BagsPerHour:    bags.correct("bags_per_hour", s.Crew.BagsPerHour),
		FinishMinPerM2: finish.correct("finish_min_per_m2", s.Crew.FinishMinPerM2),
		WaterLPerBag:   water.correct("water_l_per_bag", s.Mix.WaterLPerBag),
		SetFactor:      set.correct("set_factor", 1),
		FinishLag:      lag.correct("finish_lag", 1),
	}
}

// Teaches reports whether entries of a kind can change what FromLog draws.
func Teaches(k pour.EntryKind) bool {
	switch k {
	case pour.EntryStripped, pour.EntryRainedOn, pour.EntrySkipped, pour.EntryNote, pour.EntryStarted, pour.EntryFormed,
		pour.EntryPlacing, pour.EntryCovered, pour.EntryUncovered, pour.EntryRainBegan, pour.EntryRated:
		return false
	}
	return true // a kind that is not known here may
}

// Apply returns the project as corrected, for planning. Water beyond what the
// project says costs strength (concrete.WaterLoss): frost-safe and stripping
// come later with it. The project handed in is left as it is: not applying the
// corrections undoes them.
func (c Corrections) Apply(s pour.Spec) pour.Spec {
	s.Crew.BagsPerHour = c.BagsPerHour.Value
	s.Crew.FinishMinPerM2 = c.FinishMinPerM2.Value
	if extra := c.WaterLPerBag.Value - s.Mix.WaterLPerBag; extra > 0 {
		cement, _ := s.Mix.CementShare()
		s.Mix.Strength28dMPa *= concrete.WaterLoss(extra / (cement * s.Mix.BagKg)) // 1 litre of water is 1 kg
	}
	s.Mix.WaterLPerBag = c.WaterLPerBag.Value
	s.Mix.WaterLPerBagMax = math.Max(s.Mix.WaterLPerBagMax, c.WaterLPerBag.Value)
	return s
}

// List returns the corrections that something was logged for.
func (c Corrections) List() []Correction {
	all := []Correction{c.BagsPerHour, c.FinishMinPerM2, c.WaterLPerBag, c.SetFactor, c.FinishLag}
	return slices.DeleteFunc(all, func(x Correction) bool { return x.Entries == 0 })
}

// casting is one pad placed once.
type casting struct {
	placed   pour.LogEntry
	finished *pour.LogEntry
}

// castings pairs each placing with the finishing that followed it, if any,
// before the pad was placed again.
func castings(log []pour.LogEntry) []casting {
	sorted := slices.Clone(log)
	slices.SortStableFunc(sorted, func(a, b pour.LogEntry) int {
		if c := a.At.Compare(b.At); c != 0 {
			return c
		}
		if c := a.RecordedAt.Compare(b.RecordedAt); c != 0 {
			return c
		}
		return slices.Compare([]byte(a.ID), []byte(b.ID))
	})
	var out []casting
	open := make(map[string]int)
	for _, e := range sorted {
		switch e.Kind {
		case pour.EntryPlaced:
			open[e.Pad] = len(out)
			out = append(out, casting{placed: e})
		case pour.EntryFinished:
			if i, ok := open[e.Pad]; ok && out[i].finished == nil {
				out[i].finished = &e
			}
		case pour.EntryLost:
			delete(open, e.Pad)
		}
	}
	return out
}

func find(predicted []Predicted, placed pour.LogEntry) *Predicted {
	for i, q := range predicted {
		if q.Pad == placed.Pad && q.PlacedAt.Equal(placed.At) && q.FinishFrom > 0 && q.FinishUntil > q.FinishFrom {
			return &predicted[i]
		}
	}
	return nil
}

func minutes(e *pour.LogEntry) float64 {
	if e.Minutes == nil {
		return math.NaN()
	}
	return *e.Minutes
}

// placingRate returns bags an hour by one person. Minutes logged hold the
// striking off too, as the planned ones do; that part is taken off, but never
// more than three quarters. Bags that were not logged are taken as planned.
func placingRate(s pour.Spec, p pour.Pad, e pour.LogEntry) float64 {
	bags := float64(takeoff.PadBags(s, p))
	if e.Bags != nil {
		bags = *e.Bags
	}
	all := minutes(&e)
	people := float64(s.Crew.People)
	mixing := math.Max(all-p.AreaM2()*s.Crew.StrikeOffMinPerM2/people, all/4)
	return bags / (mixing / 60) / people
}

func perBag(e pour.LogEntry) float64 {
	if e.WaterL == nil || e.Bags == nil {
		return math.NaN()
	}
	return *e.WaterL / *e.Bags
}

// setRatio is what one finish says of the setting times: how far it began
// before the window, or ended after it; 1 within.
func setRatio(begin, end time.Duration, q Predicted) float64 {
	switch {
	case begin < q.FinishFrom:
		return (begin + q.Placing).Hours() / (q.FinishFrom + q.Placing).Hours()
	case end > q.FinishUntil:
		return (end + q.Placing).Hours() / (q.FinishUntil + q.Placing).Hours()
	}
	return 1
}
