package projects

import (
	"context"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/fault"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// given is what the state of the log follows from.
func (st *knowledge) given(ctx context.Context) history.Given {
	g := history.Given{Spec: st.project.Spec, Log: st.log, Steps: today.Assumed(st.steps), Now: st.now, Zone: st.zone,
		Rain: history.RainLimits{TellsMM: harm.LightMM, SpoilsMM: harm.Rain(st.project.Limits.Harm).LosesMM,
			MarksMM: harm.HeavyMM}}
	// What the log teaches of this mix says how fast it sets, and is drawn from
	// the entries that count, which no set time decides.
	st.counted = history.Replay(g).Counted
	g.Steps = st.finishedLater(ctx, g.Steps)
	g.SetTime = func(pad string, placed time.Time) pour.SetTime { return st.setTime(ctx, pad, placed) }
	g.CuredAt = func(pad string, placed time.Time) time.Time { return st.curedAt(ctx, pad, placed) }
	return g
}

// finishedLater puts off the finish that is taken to have been done of pads whose
// placing is logged: to the end of their window, since whoever taps and has not
// tapped that may not have done it.
func (st *knowledge) finishedLater(ctx context.Context, steps []history.Step) []history.Step {
	for i, x := range steps {
		if x.Kind != pour.EntryFinished {
			continue
		}
		for _, e := range st.counted {
			if e.Kind != pour.EntryPlaced || e.Pad != x.Pad || unit.DateOf(e.At, st.zone) != unit.DateOf(x.At,
				st.zone) {
				continue
			}
			if b, ok := st.behave(ctx, e.Pad, e.At); ok && b.FinishUntil != concrete.Never {
				steps[i].At = e.At.Add(b.FinishUntil)
			}
		}
	}
	return steps
}

// setTime is when a pad placed at an instant sets, by the weather held.
func (st *knowledge) setTime(ctx context.Context, pad string, placed time.Time) pour.SetTime {
	set, err := st.settingOf(ctx, pad, placed)
	if err != nil {
		return pour.SetTime{} // not known: the pad counts as soft
	}
	return pour.SetTime{Pad: pad, InitialMin: set.initial.Minutes(), FinalMin: set.final.Minutes(), Known: set.known}
}

// settle takes over what the log comes to.
func (st *knowledge) settle(s history.State) {
	st.state, st.counted = s, s.Counted
	st.records = make([]pour.PadRecord, len(s.Pads))
	for i, p := range s.Pads {
		st.records[i] = p.PadRecord
		if p.Inspect != nil {
			f := st.effect(*p.Inspect)
			st.records[i].Inspect = f.Inspect
			if f.Inspect != "" && len(f.Data) > 0 {
				st.records[i].InspectData = f.Data[0]
			}
		}
	}
}

// follow checks an entry, in itself and beside the others, and adds what is
// kept with it: when the pads that it places, or implies to be placed, set, and
// what it meant for pads that it does not say outright.
func (st *knowledge) follow(ctx context.Context, e *pour.LogEntry) (history.Answer, error) {
	e.TakeAsNow(st.now)
	if err := pour.CheckEntry(st.project.Spec, *e, st.now); err != nil {
		return history.Answer{}, err
	}
	e.RecordedAt = st.now
	e.Normalize()
	g := st.given(ctx)
	if e.Kind == pour.EntryPlaced {
		for _, pad := range e.Pads {
			e.SetTimes = append(e.SetTimes, st.setTime(ctx, pad, e.At))
		}
	}
	told := history.Check(g, *e)
	if len(told.Refused) > 0 {
		return told, refusal(*e, told.Refused)
	}
	for _, a := range told.Assumed {
		if a.Kind == pour.EntryPlaced {
			e.SetTimes = append(e.SetTimes, st.setTime(ctx, a.Pad, a.At))
		}
	}
	for _, f := range told.Effects {
		if f.Entry == unnamed(*e) {
			e.Effects = append(e.Effects, st.effect(f))
		}
	}
	return told, nil
}

// effect is what an entry meant for a pad, worded for the project's reader.
func (st *knowledge) effect(f history.Effect) pour.Effect {
	if f.Code == message.StoredText {
		return f.Stored
	}
	r := st.reader()
	out := pour.Effect{Pad: f.Pad, Code: string(f.Code), Data: f.Messages()}
	out.Why = r.SayAll(out.Data)
	if f.Lost {
		out.State = pour.Lost
	}
	if f.Inspect {
		out.Inspect = r.Say(out.Data[0])
	}
	return out
}

// unnamed is the id under which an entry is checked.
func unnamed(e pour.LogEntry) string {
	if e.ID == "" {
		return history.Candidate
	}
	return e.ID
}

// refusal says why an entry can't be true beside the others.
func refusal(e pour.LogEntry, why []history.Refusal) error {
	var bad fault.List
	for _, r := range why {
		kind := string(r.Kind)
		onPad := func(code message.Code) fault.Rule {
			return fault.RuleOf(code, message.Name("pad", r.Pad), message.At("since", r.At))
		}
		switch r.Code {
		case history.AlreadyPlaced:
			if r.Kind == pour.EntryPlaced {
				bad.Break("kind", kind, onPad(pour.PlacedAlready))
			} else {
				bad.Break("kind", kind, onPad(pour.SkippedPlaced))
			}
		case history.AlreadyFinished:
			bad.Break("kind", kind, onPad(pour.FinishedAlready))
		case history.AlreadyStripped:
			bad.Break("kind", kind, onPad(pour.StrippedAlready))
		case history.AlreadyLost:
			bad.Break("kind", kind, onPad(pour.LostNotPlaced))
		case history.BeforeInitialSet:
			bad.Break("at", e.At.Format(time.RFC3339), onPad(pour.StrippedSoft))
		case history.UndoOfUndo:
			bad.Break("entry", r.Entry, fault.RuleOf(pour.UndoOfUndo))
		default:
			bad.Break("kind", kind, fault.RuleOf(pour.Contradiction))
		}
	}
	return bad.Broken(pour.EntryContradicts)
}

// rainedOut are the pads that are not added to today, because rain was seen
// today: news of rain never adds a pad to a day that was not planned for it in
// the morning (judgement: a shower past says little of the next). What the rain
// took off may be placed when it is over.
func (st *knowledge) rainedOut() []job.Skip {
	if len(st.state.Day.Rain) == 0 || st.last == nil {
		return nil
	}
	planned := map[string]bool{}
	for _, p := range st.last.Plan.Pours {
		if p.Date == st.today() {
			for _, name := range p.Pads {
				planned[name] = true
			}
		}
	}
	for _, step := range st.steps {
		if unit.DateOf(step.PlaceFrom, st.zone) == st.today() {
			planned[step.Pad] = true
		}
	}
	var out []job.Skip
	for _, p := range st.project.Pads {
		if !planned[p.Name] {
			out = append(out, job.Skip{Date: st.today(), Pad: p.Name, Rain: true})
		}
	}
	return out
}
