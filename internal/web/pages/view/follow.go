package view

import (
	"slices"
	"strings"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// Follows is what is to be done next, in order. The script advances by it where
// there is no signal: it holds the sentences of the countdown once, with [act]
// where the step stands.
type Follows struct {
	Lines                         []FollowLine
	Shown                         bool // some are; the others are for the script alone
	In, At, Within, By, Late, Now string
	Unit                          string // of minutes
}

// FollowLine is one thing that follows; Gap alone is a date between them.
type FollowLine struct {
	Gap, At, Words, More string
	Hidden               bool
	NextAct
}

// NextAct is a line as the script reads it. Kind and Button are empty where no
// single tap logs that it was done.
type NextAct struct {
	Kind, Button, Act, Pads, Cover, From, Until string
}

// stamp is an instant as the script reads it; empty for none.
func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

func (s Setting) nextStep(n today.Next) NextAct {
	out := NextAct{Kind: string(kindOf(n.Do)), Act: s.Reader.Say(s.act(n)), Pads: strings.Join(n.Pads, "\t"),
		Cover: coverOf(n), From: stamp(n.From), Until: stamp(n.Until)}
	if code, ok := doneCodes()[n.Do]; ok {
		out.Button = s.say(code, message.Names("pads", n.Pads))
	}
	return out
}

// follows lists what is to be done, in time order, with a line before each new
// date; what is not shown is there for the script. Steps that are done in one
// round, such as stripping, stand together.
func (s Setting) follows(shown func(today.Next) bool) Follows {
	var steps []today.Next
	for _, n := range s.Live.Next {
		if i := slices.IndexFunc(steps, func(x today.Next) bool { return s.together(x, n) }); i >= 0 {
			steps[i].Pads = append(slices.Clone(steps[i].Pads), n.Pads...)
			continue
		}
		steps = append(steps, n)
	}
	act := message.Text("action", "[act]")
	out := Follows{In: s.say(LiveIn, act), At: s.say(LiveAt, act), Within: s.say(LiveWithin, act),
		By: s.say(LiveBy, act), Late: s.say(LiveLate, act), Now: s.say(LiveNow, act)}
	_, out.Unit = cutUnit(s.Reader.Figure(message.Duration("", 5*time.Minute)))
	date := s.Today()
	for _, n := range steps {
		if !shown(n) {
			out.Lines = append(out.Lines, FollowLine{Hidden: true, NextAct: s.nextStep(n)})
			continue
		}
		out.Shown = true
		if d := unit.DateOf(n.From, s.Zone); d != date {
			date = d
			out.Lines = append(out.Lines, FollowLine{Gap: upper(s.Reader.Day(d))})
		}
		line := FollowLine{At: s.Reader.Clock(n.From), Words: s.Reader.Say(s.act(n)), NextAct: s.nextStep(n)}
		switch {
		case n.Do == today.Strip:
			line.More = s.say(FollowCorners)
		case (n.Do == today.Place || n.Do == today.Finish) && !n.Until.IsZero():
			line.More = s.say(FollowBy, message.At("until", n.Until))
		case n.Do == today.Damp && !n.Until.IsZero():
			line.More = s.say(FollowUntil, message.At("until", n.Until))
		case n.Do == today.Cover || n.Do == today.SetUp || n.Do == today.CleanUp:
			line.More = s.Reader.Say(n.Why)
		}
		out.Lines = append(out.Lines, line)
	}
	return out
}

// together reports whether two steps are one round: of the same kind, on the same
// date, and not tied to their minutes.
func (s Setting) together(a, b today.Next) bool {
	round := a.Do == today.Strip || a.Do == today.Damp || a.Do == today.Uncover || a.Do == today.Cover
	return round && a.Do == b.Do && a.Why.Code == b.Why.Code &&
		unit.DateOf(a.From, s.Zone) == unit.DateOf(b.From, s.Zone)
}

// care are the buttons of what pads placed before ask for and is due.
func (s Setting) care() []Button {
	var out []Button
	for i, n := range s.Live.Next {
		before := slices.ContainsFunc(s.Live.Next[:i], func(x today.Next) bool { return s.together(x, n) })
		if doneCodes()[n.Do] == "" || n.From.After(s.Now) || before || ofAPour(n.Do) || !s.allPlaced(n.Pads) {
			continue
		}
		out = append(out, s.done(s.round(n)))
	}
	return out
}

// round is a step with the pads of all others that are due and done in one round
// with it, such as stripping.
func (s Setting) round(step today.Next) today.Next {
	pads := slices.Clone(step.Pads)
	for _, n := range s.Live.Next {
		for _, pad := range n.Pads {
			if !n.From.After(s.Now) && s.together(step, n) && !slices.Contains(pads, pad) {
				pads = append(pads, pad)
			}
		}
	}
	step.Pads = pads
	return step
}

// CareIsDue reports whether pads placed before ask for something by now that one
// tap logs, such as stripping.
func (s Setting) CareIsDue() bool { return len(s.care()) > 0 }

// cutUnit takes a figure apart at the space before its unit.
func cutUnit(words string) (figure, unit string) {
	figure, unit, _ = strings.Cut(words, "\u00a0")
	return figure, unit
}

// undoBar is the entry logged last today, to be undone; after an undo, what was
// undone, to be logged again. nil: nothing was logged today.
func (s Setting) undoBar() *UndoBar {
	var last, target *pour.LogEntry
	for i := range s.Log {
		if e := &s.Log[i]; last == nil || !e.RecordedAt.Before(last.RecordedAt) {
			last = e
		}
	}
	if s.Barred.Log || last == nil || unit.DateOf(last.RecordedAt, s.Zone) != s.Today() {
		return nil
	}
	if last.Kind != pour.EntryUndone {
		return &UndoBar{Back: "today", Words: s.say(UndoLine, message.Text("text", s.entry(*last).Words),
			message.At("", last.At)), Button: s.say(UndoButton), Kind: string(pour.EntryUndone), Entry: last.ID}
	}
	for i := range s.Log {
		if s.Log[i].ID == last.Entry {
			target = &s.Log[i]
		}
	}
	if target == nil || target.Kind == pour.EntryUndone {
		return nil
	}
	return &UndoBar{Back: "today", Words: s.say(UndoneLine, message.Text("text", s.entry(*target).Words)),
		Button: s.say(RedoButton), Kind: string(target.Kind), Pads: target.Names(),
		At: target.At.In(s.Zone).Format("2006-01-02T15:04:05")}
}

// questions are what the log leaves open, with answers to tap.
func (s Setting) questions() []QuestionLine {
	var out []QuestionLine
	for _, q := range s.Live.Questions {
		if !s.alone(q) {
			continue
		}
		line := QuestionLine{Words: s.Reader.Say(q.Message())}
		if !q.At.IsZero() {
			line.At = q.At.In(s.Zone).Format("2006-01-02T15:04:05")
		}
		yes := func(kind pour.EntryKind) Button {
			return Button{Kind: string(kind), Words: s.say(AnswerYes), Pads: q.Pads}
		}
		switch q.Ask {
		case history.WasPlaced:
			line.Answers = []Button{yes(pour.EntryPlaced),
				{Kind: string(pour.EntrySkipped), Words: s.say(AnswerNotPlaced), Pads: q.Pads}}
		case history.WasFinished:
			line.Answers = []Button{yes(pour.EntryFinished)}
		case history.WasLost:
			line.Answers = []Button{yes(pour.EntryLost)}
		}
		out = append(out, line)
	}
	return out
}
