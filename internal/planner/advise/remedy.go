package advise

import (
	"cmp"
	"slices"

	"dryslot/internal/planner/job"
	"dryslot/internal/planner/policy"
	"dryslot/internal/unit"
)

// Remedies are looked for on the first mornings only, while there is time to
// act on them and the forecast is worth it.
const (
	remedyMornings = 3
	remedyBetter   = 5    // points of score that make a remedy worth telling (judgement)
	remedyChance   = 0.05 // and what it adds to the chance that no pad is lost (judgement)
	goodChance     = 0.9  // a pour with less of it is looked at for fewer pads or an earlier start (judgement)
)

// earlier is how much earlier a start is tried, then twice that, and no earlier
// than dawn.
const (
	earlier    = unit.Clock(60)
	dawn       = unit.Clock(4 * 60)
	WarmWaterC = 50.0 // below the 60 C at which cement flashes (ACI 306R chapter 3, from memory)
	coolWaterC = 5.0
)

// warmBagC is that of bags kept in an unheated room overnight (judgement).
const warmBagC = 15.0

// effort is what a change asks of a builder, in days of his (judgement). A
// change that costs more than the wait for the next pour is not the better
// option.
const (
	effortStart  = 0.05
	effortWet    = 0.05
	effortBase   = 0.1
	effortWater  = 0.1
	effortBags   = 0.1
	effortSpray  = 0.15 // film or fog, and what it is sprayed with
	effortBreak  = 0.2  // a windbreak, or a net for shade
	effortAdd    = 0.25 // an admixture, to be bought
	effortPads   = 0.3
	effortCover  = 0.1 // one that the project owns
	effortBuy    = 0.5 // one that it does not
	effortHelper = 1.0
)

// change is something to try.
type change struct {
	job.Remedy
	effort float64
}

// mostRemedies of one morning: more are not read (judgement).
const mostRemedies = 5

// Each change is a plan made anew. So many pads are planned in all to try the
// changes of one morning, least effort first, and so many changes at least.
const (
	mostTriedPads = 100
	leastTries    = 2
)

// remedies tries the changes that could better a morning, each worked out anew
// as a changed project, and returns those that do, the least effort first.
func (f *Adviser) remedies(m *policy.Model, out *job.Morning, i int, s policy.State, p *policy.Planned,
	shown *policy.DayWork) []change {
	var found []change
	stuck := len(f.path) == 0
	if f.Job.WhatIf != nil || i < m.First || i >= m.First+remedyMornings || len(m.Flat()) == 0 || m.Done(&s) ||
		!f.Days[i].Off.IsZero() || stuck && i > m.First {
		return nil
	}
	risky := p != nil && i == m.First && shown.Unharmed < goodChance
	if out.Verdict == job.VerdictPour && !risky || p == nil && f.waitsForPads(m, i, &s) {
		return nil
	}
	told := map[string]bool{}
	left := max(leastTries, mostTriedPads/len(m.Flat()))
	tries := f.changes(out, s, p, shown)
	slices.SortStableFunc(tries, byEffort)
	for _, r := range tries {
		if told[r.kind()] {
			continue // a smaller step of the same kind does
		}
		if i > m.First && len(found) > 0 || len(found) == mostRemedies {
			break // a later morning will be looked at again: one way out is enough
		}
		if left--; left < 0 {
			break
		}
		got, ok := f.try(&r.WhatIf, i)
		if !ok || len(got.Pads) == 0 {
			continue
		}
		r.Verdict, r.Score, r.Pads, r.ChanceUnharmed = got.Verdict, *got.Score, len(got.Pads),
			got.Parts.Rain.ChanceUnharmed
		if Betters(&r.Remedy, out) {
			found = append(found, r)
			told[r.kind()] = true
		}
	}
	return found
}

func byEffort(a, b change) int { return cmp.Compare(a.effort, b.effort) }

// Betters reports whether a change leads to a better verdict, or to the same
// one with a clearly better score or chance. Fewer pads raise the score of any
// morning, so that for them the chance alone counts.
func Betters(r *job.Remedy, out *job.Morning) bool {
	if rank(r.Verdict) != rank(out.Verdict) {
		return rank(r.Verdict) > rank(out.Verdict)
	}
	was := out.Parts.Rain.ChanceUnharmed
	return r.Verdict != job.VerdictHold && (r.WhatIf.LeaveOut == nil && r.Score >= *out.Score+remedyBetter ||
		was != nil && r.ChanceUnharmed != nil && *r.ChanceUnharmed >= *was+remedyChance)
}

// kind is the same for changes of the same kind.
func (c *change) kind() string { return string(c.ChangeData.Code) }

// waitsForPads reports whether no pad is due on a morning, whatever the weather.
func (f *Adviser) waitsForPads(m *policy.Model, i int, s *policy.State) bool {
	if len(f.Days[i].Starts) == 0 {
		return false
	}
	var most [policy.MostGroups]uint8
	m.Available(i, len(f.Days[i].Starts)-1, s, &most)
	return most == [policy.MostGroups]uint8{}
}

func rank(v job.Verdict) int {
	switch v {
	case job.VerdictPour:
		return 2
	case job.VerdictCare:
		return 1
	}
	return 0
}
