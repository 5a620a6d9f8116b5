package notify

import (
	"slices"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// Codes of the subjects of the day's own alerts.
const (
	SubjectRain   message.Code = "subject_rain"   // pads
	SubjectStop   message.Code = "subject_stop"   // nothing more is placed for now
	SubjectResume message.Code = "subject_resume" // pads
	SubjectReady  message.Code = "subject_ready"  // pads
	SubjectDusk   message.Code = "subject_dusk"   // pads
	SubjectCaring message.Code = "subject_caring" // pads: strip, uncover, keep damp
)

// CauseState is how the cause of one kind of alert stands on a date: the number
// of its event (0: none yet), whether it held when last looked at, and until when
// it did.
type CauseState struct {
	Number    int
	Holds     bool
	HeldUntil time.Time
}

// Live is an occasion of the day itself, with what is to be said of it.
type Live struct {
	Occasion
	Subject message.Message
	Lines   []message.Message
}

// LiveOf returns the occasions that a day's answer gives, and how the causes
// stand from then on; before is how they stood, by kind. It has no memory: asked
// again with what it returned, it returns the same occasions.
func LiveOf(n today.Now, before map[Kind]CauseState, zone *time.Location) ([]Live, map[Kind]CauseState) {
	l := &live{now: n, date: unit.DateOf(n.At, zone), zone: zone, before: before, after: map[Kind]CauseState{}}
	l.rain()
	l.stop()
	l.ready()
	l.dusk()
	l.care()
	return l.out, l.after
}

type live struct {
	now    today.Now
	date   unit.Date
	zone   *time.Location
	before map[Kind]CauseState
	after  map[Kind]CauseState
	out    []Live
}

// cause notes whether a cause holds, and gives its occasion where it does or did.
func (l *live) cause(kind Kind, holds bool, o Occasion, subject message.Message, lines ...message.Message) {
	was := l.before[kind]
	is := was
	is.Holds = holds
	if holds {
		is.Number, is.HeldUntil = Number(was.Number, was.HeldUntil, l.now.At), l.now.At
	}
	l.after[kind] = is
	if is.Number == 0 {
		return
	}
	o.Kind, o.Date, o.Of, o.Holds = kind, l.date, Event(is.Number), holds
	l.out = append(l.out, Live{o, subject, lines})
}

func (l *live) rain() {
	a := l.now.Advice
	used := time.Time{}
	for _, p := range l.now.Pads {
		if p.Phase == history.Soft && p.InitialSet != nil && p.InitialSet.After(used) {
			used = *p.InitialSet
		}
	}
	l.cause(Rain, a.Do == today.Cover, Occasion{DueAt: l.now.At, UsedBy: used},
		message.New(SubjectRain, message.Names("pads", a.Pads)), a.Why)
}

// stop is of a day under way; before, the morning's alert says it.
func (l *live) stop() {
	a := l.now.Advice
	holds := l.now.Day == today.UnderWay && (a.Do == today.Stop || a.Do == today.Wait)
	raining := l.now.Rain.Seen // who logs rain knows that nothing is placed in it
	l.cause(Stop, holds && !raining, Occasion{DueAt: l.now.At}, message.New(SubjectStop), a.Why)
	was := l.before[Stop]
	if was.Number == 0 || was.Holds && l.after[Stop].Holds {
		return
	}
	used := time.Time{}
	for _, x := range l.now.Next {
		if x.Do == today.Place && unit.DateOf(x.From, l.zone) == l.date && x.Until.After(used) {
			used = x.Until
		}
	}
	o := Occasion{Kind: Resume, Date: l.date, Of: Event(was.Number), Holds: a.Do == today.GoOn, DueAt: l.now.At, UsedBy: used}
	l.out = append(l.out, Live{o, message.New(SubjectResume, message.Names("pads", a.Pads)), []message.Message{a.Why}})
}

func (l *live) ready() {
	var pads []string
	var lines []message.Message
	closes := time.Time{}
	for _, x := range l.now.Next {
		if x.Do != today.Finish || x.From.After(l.now.At) || x.Late || !l.placed(x.Pads) {
			continue
		}
		pads, lines = append(pads, x.Pads...), append(lines, x.Why)
		if closes.IsZero() || x.Until.Before(closes) {
			closes = x.Until
		}
	}
	l.cause(Ready, len(pads) > 0, Occasion{DueAt: l.now.At, Closes: closes, UsedBy: closes},
		message.New(SubjectReady, message.Names("pads", pads)), lines...)
}

func (l *live) placed(pads []string) bool {
	return !slices.ContainsFunc(l.now.Pads, func(p history.Pad) bool { return p.PlacedAt == nil && slices.Contains(pads, p.Pad) })
}

// beforeDark is how long before last light it is told that pads want blankets.
const beforeDark = time.Hour

func (l *live) dusk() {
	var pads []string
	var lines []message.Message
	dark := time.Time{}
	for _, x := range l.now.Next {
		if x.Do == today.Cover && x.Why.Code == today.StepCoverFrost && x.Until.After(l.now.At) {
			pads, lines, dark = append(pads, x.Pads...), append(lines, x.Why), x.Until
		}
	}
	holds := len(pads) > 0 && !l.now.At.Before(dark.Add(-beforeDark))
	l.cause(Dusk, holds, Occasion{DueAt: l.now.At, UsedBy: dark}, message.New(SubjectDusk, message.Names("pads", pads)), lines...)
}

// care is once a day: the first of the three kinds that is due tells of all.
func (l *live) care() {
	var pads []string
	var lines []message.Message
	kind := Kind("")
	for _, x := range l.now.Next {
		k := map[today.Do]Kind{today.Strip: Strip, today.Uncover: Uncover, today.Damp: Damp}[x.Do]
		if k == "" || x.From.After(l.now.At) || x.Why.Code == today.StepUncoverRain {
			continue
		}
		if kind == "" || k == Strip {
			kind = k
		}
		lines = append(lines, x.Why)
		for _, p := range x.Pads {
			if !slices.Contains(pads, p) {
				pads = append(pads, p)
			}
		}
	}
	for _, k := range [...]Kind{Strip, Damp, Uncover} {
		if l.before[k].Number > 0 {
			kind = k
		}
	}
	if kind == "" {
		return
	}
	was := l.before[kind]
	l.after[kind] = CauseState{max(1, was.Number), len(pads) > 0, l.now.At}
	o := Occasion{Kind: kind, Date: l.date, Of: Event(1), Holds: len(pads) > 0, DueAt: l.now.At, UsedBy: l.date.AddDays(1).At(0, l.zone)}
	l.out = append(l.out, Live{o, message.New(SubjectCaring, message.Names("pads", pads)), lines})
}
