package notify

import (
	"slices"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
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
	Actions []Action
}

// Action is an entry of the log that answers an alert by one tap. At most two go
// with an alert.
type Action struct {
	Title message.Message
	Kind  pour.EntryKind
	Pads  []string
	Cover string
}

// Watched is what the occasions of a day follow from.
type Watched struct {
	Now    today.Now
	Before map[Kind]CauseState // how the causes stood, by kind
	Latest time.Time           // when the day's pour can be begun at the latest; zero: not known
	Crew   pour.Crew
	Zone   *time.Location
}

// Live returns the occasions that a day's answer gives, and how the causes stand
// from then on. It has no memory: asked again with what it returned, it returns
// the same occasions.
func (w Watched) Live() ([]Live, map[Kind]CauseState) {
	l := &live{Watched: w, now: w.Now, date: unit.DateOf(w.Now.At, w.Zone), after: map[Kind]CauseState{}}
	l.rain()
	l.stop()
	l.notStarted()
	l.hazards()
	l.ready()
	l.dusk()
	l.care()
	return l.out, l.after
}

type live struct {
	Watched
	now   today.Now
	date  unit.Date
	after map[Kind]CauseState
	out   []Live
}

// cause notes whether a cause holds, and gives its occasion where it does or did.
func (l *live) cause(kind Kind, holds bool, x Live) {
	was := l.Before[kind]
	is := was
	is.Holds = holds
	if holds {
		is.Number, is.HeldUntil = Number(was.Number, was.HeldUntil, l.now.At), l.now.At
	}
	l.after[kind] = is
	if is.Number == 0 {
		return
	}
	x.Kind, x.Date, x.Of, x.Holds = kind, l.date, Event(is.Number), holds
	if x.DueAt.IsZero() {
		x.DueAt = l.now.At
	}
	l.out = append(l.out, x)
}

func (l *live) rain() {
	a := l.now.Advice
	used := time.Time{}
	for _, p := range l.now.Pads {
		if p.Phase == history.Soft && p.InitialSet != nil && p.InitialSet.After(used) {
			used = *p.InitialSet
		}
	}
	x := Live{Occasion: Occasion{UsedBy: used}, Subject: message.New(SubjectRain, message.Names("pads", a.Pads)),
		Lines: []message.Message{a.Why}, Actions: []Action{{message.New(ActionCovered), pour.EntryCovered, a.Pads,
			pour.Plastic}}}
	if l.now.Rain.Seen {
		x.Actions = append(x.Actions, Action{Title: message.New(ActionRainOver), Kind: pour.EntryRainEnded})
	} else {
		x.Actions = append(x.Actions, Action{Title: message.New(ActionRains), Kind: pour.EntryRainBegan})
	}
	l.cause(Rain, a.Do == today.Cover, x)
}

// stopAhead is how long before the planned start an alert says that the day should
// begin later: before that, the morning's alert says so.
const stopAhead = time.Hour

func (l *live) stop() {
	a := l.now.Advice
	holds := l.now.Day == today.UnderWay && (a.Do == today.Stop || a.Do == today.Wait) ||
		a.Do == today.StartLater && !l.now.Begins.IsZero() && !l.now.Begins.After(l.now.At.Add(stopAhead))
	subject := message.New(SubjectStop)
	if a.Do == today.StartLater {
		subject = message.New(SubjectLater)
	}
	raining := l.now.Rain.Seen // who logs rain knows that nothing is placed in it
	l.cause(Stop, holds && !raining, Live{Occasion: Occasion{}, Subject: subject, Lines: []message.Message{a.Why}})
	was := l.Before[Stop]
	if was.Number == 0 || was.Holds && l.after[Stop].Holds {
		return
	}
	used := time.Time{}
	for _, x := range l.now.Next {
		if x.Do == today.Place && unit.DateOf(x.From, l.Zone) == l.date && x.Until.After(used) {
			used = x.Until
		}
	}
	o := Occasion{Kind: Resume, Date: l.date, Of: Event(was.Number), Holds: a.Do == today.GoOn, DueAt: l.now.At,
		UsedBy: used}
	l.after[Resume] = CauseState{was.Number, o.Holds, l.now.At}
	l.out = append(l.out, Live{Occasion: o, Subject: message.New(SubjectResume, message.Names("pads", a.Pads)),
		Lines: []message.Message{a.Why}})
}

// startedBy is how long after the planned start an entry is waited for
// (judgement).
const startedBy = 30 * time.Minute

func (l *live) notStarted() {
	begins := l.now.Begins
	if begins.IsZero() {
		return
	}
	used := l.Latest
	if used.IsZero() {
		used = begins.Add(2 * time.Hour)
	}
	holds := !l.now.Logged && !l.now.At.Before(begins) && l.now.At.Before(used)
	l.cause(NotStarted, holds, Live{Occasion: Occasion{DueAt: begins.Add(startedBy), UsedBy: used},
		Subject: message.New(SubjectNotStarted), Lines: []message.Message{message.New(DayNotStarted,
			message.At("start", begins), message.At("latest", used))},
		Actions: []Action{{Title: message.New(ActionStarted), Kind: pour.EntryStarted},
			{Title: message.New(ActionNotToday), Kind: pour.EntrySkipped}}})
}

func (l *live) hazards() {
	for _, k := range [...]struct {
		threat  today.Threat
		kind    Kind
		subject func(today.Hazard) message.Message
	}{
		{today.Thunder, Thunder, func(today.Hazard) message.Message { return message.New(SubjectThunder) }},
		{today.Gusts, Gust, func(h today.Hazard) message.Message {
			return message.New(SubjectGust, message.Names("pads", h.Pads))
		}},
		{today.Drying, Drying, func(h today.Hazard) message.Message {
			return message.New(SubjectDrying, message.Names("pads", h.Pads))
		}},
		{today.Earlier, Earlier, func(h today.Hazard) message.Message {
			return message.New(SubjectEarlier, message.Names("pads", h.Pads), message.At("from", h.From))
		}},
	} {
		i := slices.IndexFunc(l.now.Hazards, func(h today.Hazard) bool { return h.Threat == k.threat })
		if i < 0 {
			l.cause(k.kind, false, Live{})
			continue
		}
		h := l.now.Hazards[i]
		l.cause(k.kind, true, Live{Occasion: Occasion{UsedBy: h.Until}, Subject: k.subject(h),
			Lines: []message.Message{h.Why}})
	}
}

// mostReady is how many pads are named one by one.
const mostReady = 3

func (l *live) ready() {
	var queue []today.Next
	for _, x := range l.now.Next {
		if l.now.Rain.Seen { // nothing is finished in the rain
			break
		}
		if x.Do == today.Finish && !x.From.After(l.now.At) && !x.Late && l.placed(x.Pads) {
			queue = append(queue, x)
		}
	}
	slices.SortStableFunc(queue, func(a, b today.Next) int { return a.Until.Compare(b.Until) })
	var pads []string
	var lines []message.Message
	closes, last := time.Time{}, time.Time{}
	work := time.Duration(0)
	for i, x := range queue {
		pads, last = append(pads, x.Pads...), x.Until
		if i < mostReady {
			lines = append(lines, x.Why)
		}
		work += x.Work // the last moment at which this one and those before it can still be finished
		if at := x.Until.Add(-work); closes.IsZero() || at.Before(closes) {
			closes = at
		}
	}
	due := time.Time{}
	if was := l.Before[Ready]; len(pads) > 0 && Number(was.Number, was.HeldUntil, l.now.At) > 1 {
		due = closes.Add(-LastMinutes) // who knows of the first pad looks after the others until it is urgent
	}
	l.cause(Ready, len(pads) > 0, Live{Occasion: Occasion{DueAt: due, Closes: closes, UsedBy: last},
		Subject: message.New(SubjectReady, message.Names("pads", pads)), Lines: lines,
		Actions: []Action{{Title: message.New(ActionFinished), Kind: pour.EntryFinished, Pads: pads}}})
}

func (l *live) placed(pads []string) bool {
	return !slices.ContainsFunc(l.now.Pads, func(p history.Pad) bool {
		return p.PlacedAt == nil &&
			slices.Contains(pads, p.Pad)
	})
}

// beforeDark is how long before last light the alert is due that asks for blankets.
const beforeDark = time.Hour

func (l *live) dusk() {
	var pads []string
	dark, chance := time.Time{}, 0.0
	for _, x := range l.now.Next {
		if x.Do == today.Cover && x.Why.Code == today.StepCoverFrost && x.Until.After(l.now.At) {
			pads, dark = append(pads, x.Pads...), x.Until
			if c, ok := x.Why.Figures.Number("chance"); ok {
				chance = max(chance, c)
			}
		}
	}
	holds := len(pads) > 0 && !l.now.At.Before(dark.Add(-beforeDark))
	l.cause(Dusk, holds, Live{Occasion: Occasion{UsedBy: dark},
		Subject: message.New(SubjectDusk, message.Names("pads", pads)),
		Lines: []message.Message{message.New(DayDusk, message.Names("pads", pads), message.Chance("", chance),
			message.At("dark", dark))},
		Actions: []Action{{message.New(ActionBlankets), pour.EntryCovered, pads, pour.Blanket}}})
}

// care is what pads of days before ask for today. All of it is due at one time,
// so that it goes into one message, and each kind is due once a day.
func (l *live) care() {
	due := time.Time{}
	for _, k := range [...]struct {
		do     today.Do
		kind   Kind
		action Action
	}{
		{today.Strip, Strip, Action{Title: message.New(ActionStripped), Kind: pour.EntryStripped}},
		{today.Uncover, Uncover, Action{Title: message.New(ActionUncovered), Kind: pour.EntryUncovered}},
		{today.Damp, Damp, Action{}},
	} {
		pads, lines, from := l.cared(k.do)
		was := l.Before[k.kind]
		if len(pads) == 0 && was.Number == 0 {
			continue
		}
		if len(pads) > 0 && (due.IsZero() || from.Before(due)) {
			due = from
		}
		l.after[k.kind] = CauseState{1, len(pads) > 0, l.now.At}
		x := Live{Occasion: Occasion{Kind: k.kind, Date: l.date, Of: Event(1), Holds: len(pads) > 0,
			UsedBy: l.date.AddDays(1).At(0, l.Zone)}, Subject: message.New(SubjectCaring,
			message.Names("pads", pads)), Lines: lines}
		if k.action.Kind != "" {
			k.action.Pads = pads
			x.Actions = []Action{k.action}
		}
		l.out = append(l.out, x)
	}
	if first := l.date.At(l.Crew.EarliestStart, l.Zone); due.Before(first) {
		due = first
	}
	for i := range l.out {
		if cares(l.out[i].Kind) {
			l.out[i].DueAt = due
		}
	}
}

// Cares reports whether an occasion is one of what set concrete asks for.
func (o Occasion) Cares() bool { return cares(o.Kind) }

// cares reports whether a kind is one of what set concrete asks for.
func cares(k Kind) bool { return k == Strip || k == Damp || k == Uncover }

// cared lists what is to be done today with pads placed on days before, those
// with the same time and reason together.
func (l *live) cared(do today.Do) (pads []string, lines []message.Message, first time.Time) {
	type group struct {
		code  message.Code
		from  time.Time
		until time.Time
		pads  []string
	}
	var groups []*group
	for _, x := range l.now.Next {
		if x.Do != do || x.Why.Code == today.StepUncoverRain || unit.DateOf(x.From, l.Zone) != l.date ||
			!l.placedBefore(x.Pads) {
			continue
		}
		if first.IsZero() || x.From.Before(first) {
			first = x.From
		}
		pads = append(pads, x.Pads...)
		i := slices.IndexFunc(groups, func(g *group) bool {
			return g.code == x.Why.Code &&
				x.From.Sub(g.from).Abs() < time.Hour
		})
		if i < 0 {
			groups = append(groups, &group{x.Why.Code, x.From, x.Until, slices.Clone(x.Pads)})
			continue
		}
		g := groups[i]
		g.pads = append(g.pads, x.Pads...)
		if x.From.After(g.from) {
			g.from = x.From
		}
		if x.Until.Before(g.until) {
			g.until = x.Until
		}
	}
	code := map[today.Do]message.Code{today.Strip: DayStrip, today.Uncover: DayUncover, today.Damp: DayDamp}[do]
	for _, g := range groups {
		when := message.At("from", g.from)
		if do == today.Damp {
			when = message.At("until", g.until)
		}
		lines = append(lines, message.New(code, message.Names("pads", g.pads), when))
	}
	return pads, lines, first
}

// placedBefore reports whether pads were placed before today.
func (l *live) placedBefore(pads []string) bool {
	return !slices.ContainsFunc(l.now.Pads, func(p history.Pad) bool {
		return slices.Contains(pads, p.Pad) && (p.PlacedAt == nil || !unit.DateOf(*p.PlacedAt, l.Zone).Before(l.date))
	})
}
