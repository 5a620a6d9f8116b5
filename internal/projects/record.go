package projects

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/history"
	"dryslot/internal/learn"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/work"
)

// Recorded is what follows from a log entry.
type Recorded struct {
	Entry     pour.LogEntry
	Plan      pour.Plan
	Changes   []message.Message  // what the entry meant, then what changed in the plan
	Assumed   []history.Assumed  // steps that it implies and that were not logged
	Questions []history.Question // that the whole log leaves open
}

// Record appends a log entry, with what it means for the pads that it can be
// true of, and plans again, in one transaction. It returns fault.NotFound
// when there is no such project and fault.Invalid when the entry can't be
// true; nothing is kept then. An entry whose id is there already, and that says
// the same, is answered as it is kept, with the plan in force. Where no plan can
// be made, the entry is kept all the same, and answered with the plan of before:
// the new one follows.
func (s *Service) Record(ctx context.Context, account, project string, e pour.LogEntry) (out Recorded, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, project)
		if err != nil {
			return err
		}
		st, err := s.read(ctx, tx, p)
		if err != nil {
			return err
		}
		if kept, err := again(ctx, tx, project, e); err != nil {
			return err
		} else if kept != nil {
			return s.answerAgain(ctx, st, *kept, &out)
		}
		if err := checkPhotos(ctx, tx, p.ID, e); err != nil {
			return err
		}
		told, err := st.follow(ctx, &e)
		if err != nil {
			return err
		}
		if out.Entry, err = s.append(ctx, tx, p, e, told.State.Rain); err != nil {
			return err
		}
		if err := st.enter(ctx, out.Entry); err != nil {
			return err
		}
		var changed []message.Message
		if out.Plan, changed, err = s.planFrom(ctx, tx, st, because(e)); err != nil {
			return err
		}
		out.Assumed, out.Questions, out.Changes = told.Assumed, st.state.Questions, []message.Message{}
		for _, f := range told.Effects { // of rain logged before, too, where the entry changes what it did
			out.Changes = append(out.Changes, f.Messages()[0])
		}
		out.Changes = append(out.Changes, changed...)
		return nil
	})
	return out, err
}

// append adds an entry to the stored log, and keeps the rain of the log with it
// for verifying the feeds.
func (s *Service) append(ctx context.Context, tx Tx, p pour.Project, e pour.LogEntry, spells []history.Spell) (
	pour.LogEntry, error) {
	kept, err := tx.AppendLog(ctx, p.ID, e)
	if err != nil {
		return pour.LogEntry{}, fmt.Errorf("projects: append to the log: %w", err)
	}
	if !tellsOfRain(e.Kind) {
		return kept, nil
	}
	return kept, s.keepRain(ctx, tx, p, spells)
}

// tellsOfRain reports whether an entry may change which rain is logged.
func tellsOfRain(k pour.EntryKind) bool {
	return k == pour.EntryRainBegan || k == pour.EntryRainEnded || k == pour.EntryRainedOn || k == pour.EntryUndone
}

// planFrom plans again after an entry, and returns the plan with what changed in
// it; where none can be made, the plan of before, and that another follows.
func (s *Service) planFrom(ctx context.Context, tx Tx, st *knowledge,
	because string) (pour.Plan, []message.Message, error) {
	kept, err := s.replanFrom(ctx, tx, st, because, byBuilder)
	if errors.Is(err, errNoPlan) {
		kept, err = s.planLater(ctx, tx, st, because, err)
		return kept.Plan, []message.Message{message.New(PlanFollows)}, err
	}
	return kept.Plan, kept.ChangesData, err
}

// enter adds an entry to the log that is known, in order of At, then of
// recording, and makes of it what follows.
func (st *knowledge) enter(ctx context.Context, e pour.LogEntry) error {
	i, _ := slices.BinarySearchFunc(st.log, e, func(have, e pour.LogEntry) int {
		if have.At.After(e.At) {
			return 1
		}
		return -1
	})
	st.log = slices.Insert(st.log, i, e)
	if learn.Teaches(e.Kind) {
		st.lessons = nil
	}
	return st.replay(ctx)
}

// PlanFollows is the code that a builder gets where no plan could be made.
const PlanFollows message.Code = "plan_follows"

// planLater stands in for a plan that can't be made: what came true is kept,
// with the plan of before, and planning is tried again, by a job at once and
// from the project's row until it succeeds.
func (s *Service) planLater(ctx context.Context, tx Tx, st *knowledge, because string, why error) (KeptPlan, error) {
	s.log().ErrorContext(ctx, "no plan from a log entry", "project", st.project.ID, "error", why)
	k, err := s.current(ctx, st)
	if errors.Is(err, errNoPlan) { // nor was there one before
		none := 0
		k, err = KeptPlan{Plan: pour.Plan{Version: &none, MadeAt: st.now, Because: because,
			BecauseData: message.Stored(because), State: pour.AwaitingForecast, Pours: []pour.Pour{},
			Unplaced: []pour.Unplaced{}}}, nil
	}
	if err != nil {
		return KeptPlan{}, err
	}
	if err := s.raise(ctx, tx, st, k, byBuilder); err != nil {
		return KeptPlan{}, err
	}
	if err := tx.Enqueue(ctx, work.Replan{Account: st.project.Account, Project: st.project.ID,
		Because: "an entry logged"}); err != nil {
		return KeptPlan{}, fmt.Errorf("projects: enqueue a plan: %w", err)
	}
	return k, nil
}

// again returns the entry that is kept under the id of one that is sent; nil:
// none. One that says something else is fault.Invalid.
func again(ctx context.Context, tx Tx, project string, e pour.LogEntry) (*pour.LogEntry, error) {
	kept, err := keptBefore(ctx, tx, project, e.ID)
	if kept == nil || err != nil {
		return nil, err
	}
	if !kept.SameAs(e) {
		var bad fault.List
		bad.Break("id", e.ID, fault.RuleOf(EntryIDTaken))
		return nil, bad.Broken(pour.EntryBreaksRule)
	}
	return kept, nil
}

// keptBefore returns the entry that is kept under an id that its sender gave; nil:
// there is none, or none was given.
func keptBefore(ctx context.Context, tx Tx, project, id string) (*pour.LogEntry, error) {
	if id == "" {
		return nil, nil
	}
	kept, err := tx.Entry(ctx, project, id)
	if fault.KindOf(err) == fault.NotFound {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("projects: look an entry up: %w", err)
	}
	return &kept, nil
}

// answerAgain answers an entry that is kept already.
func (s *Service) answerAgain(ctx context.Context, st *knowledge, kept pour.LogEntry, out *Recorded) error {
	k, err := s.current(ctx, st)
	if err != nil {
		return err
	}
	out.Entry, out.Plan, out.Changes, out.Questions = kept, k.Plan, []message.Message{}, st.state.Questions
	for _, f := range kept.Effects {
		out.Changes = append(out.Changes, f.Messages()[0])
	}
	out.Changes = append(out.Changes, k.ChangesData...)
	return nil
}

// because is the reason of a new plan: the entry in words.
func because(e pour.LogEntry) string {
	words := map[pour.EntryKind]string{pour.EntryPlaced: "placing", pour.EntryFinished: "finishing",
		pour.EntryStripped: "stripping", pour.EntryRainedOn: "rain", pour.EntryLost: "loss",
		pour.EntrySkipped: "a pour called off", pour.EntryNote: "a note",
		pour.EntryStarted: "the start", pour.EntryFormed: "forms set", pour.EntryCovered: "a cover laid",
		pour.EntryUncovered: "a cover taken off",
		pour.EntryRainBegan: "rain begun", pour.EntryRainEnded: "rain over", pour.EntryInspected: "an inspection",
		pour.EntryRated:  "a rating",
		pour.EntryUndone: "an undo"}
	w, ok := words[e.Kind]
	if !ok {
		w = string(e.Kind)
	}
	names := e.Names()
	if len(names) == 0 {
		return w + " logged"
	}
	return w + " logged on " + strings.Join(names, ", ")
}
