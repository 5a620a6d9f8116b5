package watch

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"dryslot/internal/learn"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Recorded is what follows from a log entry.
type Recorded struct {
	Entry   pour.LogEntry
	Plan    pour.Plan
	Changes []string // what the entry meant, then what changed in the plan
}

// Record appends a log entry, with what it means for the pads that it can be
// true of, and plans again, in one transaction. It returns fault.NotFound
// when there is no such project and fault.Invalid when the entry can't be
// true; nothing is kept then. Where no plan can be made, the entry is kept all
// the same, and answered with the plan of before: the new one follows.
func (s *Service) Record(ctx context.Context, account, project string, e pour.LogEntry) (out Recorded, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, project)
		if err != nil {
			return err
		}
		st, err := s.stand(ctx, tx, p)
		if err != nil {
			return err
		}
		if err := pour.CheckEntry(p.Spec, st.records, e, st.now); err != nil {
			return err
		}
		e.RecordedAt = st.now
		if e.Effects, err = st.effects(ctx, e); err != nil {
			return err
		}
		if out.Entry, err = tx.AppendLog(ctx, project, e); err != nil {
			return fmt.Errorf("watch: append to the log: %w", err)
		}
		if err := s.logRain(ctx, tx, p, out.Entry); err != nil {
			return err
		}
		if err := st.enter(ctx, out.Entry); err != nil {
			return err
		}
		kept, err := s.replanFrom(ctx, tx, st, because(e), byBuilder)
		if errors.Is(err, errNoPlan) {
			kept, err = s.planLater(ctx, tx, st, because(e), err)
		}
		if err != nil {
			return err
		}
		out.Plan, out.Changes = kept.Plan, []string{}
		for _, f := range e.Effects {
			out.Changes = append(out.Changes, f.Pad+": "+f.Why)
		}
		out.Changes = append(out.Changes, kept.Changes...)
		return nil
	})
	return out, err
}

// enter adds an entry to the log that is known, in order of At, then of
// recording, and makes of it what follows.
func (st *standing) enter(ctx context.Context, e pour.LogEntry) error {
	i, _ := slices.BinarySearchFunc(st.log, e, func(have, e pour.LogEntry) int {
		if have.At.After(e.At) {
			return 1
		}
		return -1
	})
	st.log = slices.Insert(st.log, i, e)
	if learn.Teaches(e.Kind) {
		st.taught = nil
	}
	return st.replay(ctx)
}

// PlanFollows is what a builder is told where no plan could be made.
const PlanFollows = "The plan could not be made again just now. Below is the plan from before this entry; the new one follows by itself."

// planLater stands in for a plan that can't be made: what came true is kept,
// with the plan of before, and planning is tried again, by a job at once and
// from the project's row until it succeeds.
func (s *Service) planLater(ctx context.Context, tx Tx, st *standing, because string, why error) (KeptPlan, error) {
	s.log().Error("no plan from a log entry", "project", st.project.ID, "error", why)
	k, err := s.current(ctx, st)
	if errors.Is(err, errNoPlan) { // nor was there one before
		none := 0
		k, err = KeptPlan{Plan: pour.Plan{Version: &none, MadeAt: st.now, Because: because, State: pour.AwaitingForecast,
			Pours: []pour.Pour{}, Unplaced: []pour.Unplaced{}}}, nil
	}
	if err != nil {
		return KeptPlan{}, err
	}
	if err := s.raise(ctx, tx, st, k, byBuilder); err != nil {
		return KeptPlan{}, err
	}
	if err := tx.Enqueue(ctx, Replan{Account: st.project.Account, Project: st.project.ID, Because: because}); err != nil {
		return KeptPlan{}, fmt.Errorf("watch: enqueue a plan: %w", err)
	}
	k.Changes = []string{PlanFollows}
	return k, nil
}

// because says in words what an entry told.
func because(e pour.LogEntry) string {
	words := map[pour.EntryKind]string{pour.EntryPlaced: "placing", pour.EntryFinished: "finishing", pour.EntryStripped: "stripping",
		pour.EntryRainedOn: "rain", pour.EntryLost: "loss", pour.EntrySkipped: "a pour called off", pour.EntryNote: "a note"}
	w, ok := words[e.Kind]
	if !ok {
		w = string(e.Kind)
	}
	if e.Pad == "" {
		return w + " logged"
	}
	return w + " logged on " + e.Pad
}

// Rain that harms concrete, in mm in an hour. Judgement, as the planning's
// definitions say; the service's rain classes follow the weather services:
// 2.5 mm/h parts light from moderate rain, 7.6 mm/h moderate from heavy (AMS
// Glossary of Meteorology, "rain").
const (
	rainTells   = 0.25 // less marks nothing
	rainSpoils  = 2.5  // before initial set: lost
	rainMarks   = 7.6  // between initial and final set: inspect
	justANote   = "too little to mark it"
	unknownRain = "how much fell is not known"
)

// effects concludes what an entry means for pads that it does not say
// outright: rain on concrete that had not set.
func (st *standing) effects(ctx context.Context, e pour.LogEntry) ([]pour.Effect, error) {
	out := []pour.Effect{}
	if e.Kind != pour.EntryRainedOn {
		return out, nil
	}
	for _, r := range pour.Replay(st.project.Spec, st.log, e.At, nil) { // as it was when the rain came
		if (e.Pad != "" && e.Pad != r.Pad) || r.PlacedAt == nil || r.State == pour.Lost || e.At.Before(*r.PlacedAt) {
			continue
		}
		set, err := st.settingOf(ctx, r.Pad, *r.PlacedAt)
		if err != nil {
			return nil, err
		}
		if f, ok := st.rainOn(r, e, set); ok {
			out = append(out, f)
		}
	}
	return out, nil
}

// rainOn concludes what rain did to one placed pad, by how much fell and how
// far the pad had set.
func (st *standing) rainOn(r pour.PadRecord, e pour.LogEntry, set setting) (pour.Effect, bool) {
	age := e.At.Sub(*r.PlacedAt)
	spoils := rainSpoils
	if h := st.project.Limits.Harm; h != nil {
		spoils = *h
	}
	f := pour.Effect{Pad: r.Pad}
	said, rate, most := st.rainWords(e)
	when := fmt.Sprintf("%s came %s after placing", said, spanWords(age))
	estimate := ""
	if !set.known {
		estimate = ", by a cautious guess, the weather since placing not being held"
	}
	initialAt := st.clock(r.PlacedAt.Add(set.initial))
	finalAt := st.clock(r.PlacedAt.Add(set.final))
	switch {
	case age < set.initial && math.IsNaN(rate):
		f.Inspect = "rain on soft concrete, " + unknownRain
		f.Why = fmt.Sprintf("to be inspected: %s, before initial set at about %s%s, and %s", when, initialAt, estimate, unknownRain)
	case age < set.initial && rate >= spoils:
		f.State = pour.Lost
		f.Why = fmt.Sprintf("lost: %s, before initial set at about %s%s; %s or more in an hour spoils soft concrete. Break it out and pour again", when, initialAt, estimate, st.depth(spoils))
	case age < set.initial && most >= rainTells:
		f.Inspect = said + " on soft concrete"
		f.Why = fmt.Sprintf("to be inspected: %s, before initial set at about %s%s", when, initialAt, estimate)
		if most >= spoils {
			f.Why += "; had most of it come within one hour, the pad would be lost"
		}
		if r.FinishedAt == nil {
			f.Why += "; the finish had not been closed: a washed surface is lost"
		}
	case age < set.final && math.IsNaN(rate):
		f.Inspect = "rain on setting concrete, " + unknownRain
		f.Why = fmt.Sprintf("to be inspected: %s, before final set at about %s%s, and %s", when, finalAt, estimate, unknownRain)
	case age < set.final && most >= rainMarks:
		f.Inspect = said + " on setting concrete"
		f.Why = fmt.Sprintf("to be inspected: %s, before final set at about %s%s", when, finalAt, estimate)
	case age < set.initial:
		f.Why = when + ": " + justANote
	case age < set.final:
		f.Why = fmt.Sprintf("%s, after initial set at about %s%s: no harm", when, initialAt, estimate)
	case e.Pad != "":
		f.Why = fmt.Sprintf("%s, after final set at about %s%s: no harm", when, finalAt, estimate)
	default:
		return f, false // rain on the whole site says nothing of what has set
	}
	return f, true
}

// rainWords says the rain of an entry in the project's units, and returns what
// fell in its worst hour, in mm, at the least and at the most; NaN when it is
// not known. Rain of an hour or less is its hour's; of more, the worst hour had
// its mean or more, and all of it at the most. What surely spoils a pad loses
// it, what may have is looked at.
func (st *standing) rainWords(e pour.LogEntry) (said string, least, most float64) {
	if e.RainMM == nil {
		return "rain", math.NaN(), math.NaN()
	}
	mm := *e.RainMM
	least = mm
	if e.Minutes != nil && *e.Minutes > 60 {
		least = mm * 60 / *e.Minutes
	}
	return st.depth(mm) + " of rain", least, mm
}

// depth says an amount of rain in the project's units.
func (st *standing) depth(mm float64) string {
	if st.project.Units == "us" {
		return fmt.Sprintf("%.2g in", unit.Millimetres(mm).Inches())
	}
	return fmt.Sprintf("%.3g mm", mm)
}

func (st *standing) clock(t time.Time) string { return t.In(st.zone).Format("Mon 15:04") }

// spanWords says a span of time in hours and minutes.
func spanWords(d time.Duration) string {
	m := int(d.Round(time.Minute) / time.Minute)
	switch {
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m%60 == 0:
		return fmt.Sprintf("%d h", m/60)
	case m > 48*60:
		return fmt.Sprintf("%d days", m/(24*60))
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}
