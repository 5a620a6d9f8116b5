package view

import (
	"html/template"
	"slices"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Live is the page of a day under way, and of the hours after it: the next thing to
// do with its countdown, one button for it, undo, rain, and what follows.
type Live struct {
	Frame
	Verdict
	Narrow, Wide      template.HTML
	Cover             *CoverNow
	Notices           []string
	Hands             []Button // the first is the slab, the last logs rain
	Also              *Button  // logs what the head says, where the slab logs the next pad
	Care              []Button // what is due besides with pads placed before
	AsPlanned         *AsPlanned
	Undo              *UndoBar
	Questions         []QuestionLine
	RainNarrow        template.HTML
	RainWide          template.HTML
	Follows           Follows
	LogHref, PadsHref string
	Tomorrow          *DayLine
	Break             string // the lost pads, to be broken out
	Breaking          []DoLine
	People            []CautionView
}

func (l Live) template() string {
	if l.Cover != nil {
		return "cover"
	}
	return "live"
}

// CoverNow is what is to be covered at once, the softest first, and what comes then.
type CoverNow struct {
	Pads []CoverPad
	All  []string
	Then []DoLine
}

// CoverPad is one pad to cover.
type CoverPad struct{ Name, Words string }

// UndoBar is the last entry, to be undone, or that was undone, to be logged again.
type UndoBar struct {
	Back                           string // the page to come back to
	Words, Button, Kind, Entry, At string
	Pads                           []string
}

// QuestionLine is what the log leaves open, with the answers that can be tapped.
type QuestionLine struct {
	Words   string
	At      string
	Answers []Button
}

// ofAPour reports whether a step belongs to a pour still to come.
func ofAPour(do today.Do) bool {
	return do == today.SetUp || do == today.Form || do == today.Place || do == today.CleanUp
}

// NewLive makes the page.
func NewLive(s Setting) Live {
	p := Live{Frame: s.frame(s.Reader.Date(s.Today()), NavNext), Verdict: Verdict{When: s.nowWords()},
		LogHref: s.href("/log"), PadsHref: s.href("/pads"), Undo: s.undoBar(), Questions: s.questions(),
		Follows: s.follows(func(today.Next) bool { return true }), AsPlanned: s.asPlanned(),
		People: s.people(concrete.WhenMixing, concrete.WhenPlacing, concrete.WhenThunder)}
	if s.Barred.Log {
		p.Notices, p.Questions = s.questionWords(), nil
	}
	if p.Break = s.breakOut(); p.Break != "" {
		p.Breaking = peopleLines(s.people(concrete.WhenBreaking))
	}
	rain := Button{Kind: string(pour.EntryRainBegan), Words: s.say(ButtonRainBegan)}
	if s.Live.Rain.Seen {
		rain = Button{Kind: string(pour.EntryRainEnded), Words: s.say(ButtonRainEnded)}
	}
	s.rainAhead(&p)
	if s.Live.Advice.Do == today.Cover {
		s.coverNow(&p)
		p.Hands = s.hands(Button{Kind: string(pour.EntryCovered), Words: s.say(ButtonAllCovered)}, rain)
		return p
	}
	if a := s.Live.Advice; a.Do != today.GoOn && a.Do != today.None || a.Why.Code == today.NowNoForecast {
		p.Notices = append(p.Notices, s.Reader.Say(a.Why))
	}
	next, ok := s.nextAct()
	pad, placing := s.padInHand(next)
	switch {
	case !ok:
		p.Ask = s.Reader.Say(s.Live.Advice.Why)
		p.Hands = s.hands(rain)
	default:
		s.countdown(next, &p)
		p.Hands = s.hands(s.done(next), rain)
		if placing && next.Do == today.Finish && !s.Barred.Log {
			p.Also = &p.Hands[0]
		}
	}
	if placing {
		p.Hands = s.hands(s.done(today.Next{Do: today.Place, Pads: pad}), rain)
	}
	for _, c := range s.hands(s.care()...) {
		if c.Kind != string(pour.EntryFinished) && (!ok || c.Kind != string(kindOf(next.Do))) {
			p.Care = append(p.Care, c) // finishes come one after the other, in the head
		}
	}
	if d := s.days(s.Today()); len(d) > 0 {
		p.Tomorrow = &d[0]
	}
	return p
}

// done is the button that logs a step.
func (s Setting) done(n today.Next) Button {
	return Button{Kind: string(kindOf(n.Do)), Words: s.say(doneCodes()[n.Do], message.Names("pads", n.Pads)),
		Pads: n.Pads, Cover: coverOf(n)}
}

// coverOf is what a step lays: a blanket against frost, plastic against rain.
func coverOf(n today.Next) string {
	switch {
	case n.Do != today.Cover:
		return ""
	case n.Why.Code == today.StepCoverFrost:
		return pour.Blanket
	}
	return pour.Plastic
}

const (
	// soonPlaced is how far ahead the next placing may lie for its button to stay
	// in its place while a finish is due: starts lie half an hour apart (judgement).
	soonPlaced = 30 * time.Minute
	// lateTap is how long after its planned time a placing that was not logged
	// keeps the button, of a crew that does log (judgement).
	lateTap = time.Hour
)

// padInHand are the pads that the slab logs as placed whatever is due besides: the
// one that is placed later than planned, else the next while a finish is due. The
// button stays where it was: who taps each placing need not tap each finish.
func (s Setting) padInHand(due today.Next) ([]string, bool) {
	var late []pour.LogEntry
	for _, e := range s.proposed() {
		if e.Kind == pour.EntryPlaced {
			late = append(late, e)
		}
	}
	if s.Live.Logged && len(late) == 1 && s.Now.Sub(late[0].At) < lateTap {
		return []string{late[0].Pad}, true
	}
	if due.Do != today.Finish || due.From.After(s.Now) || s.Live.Advice.Do != today.GoOn {
		return nil, false
	}
	i := slices.IndexFunc(s.Live.Next, func(n today.Next) bool { return n.Do == today.Place })
	if i < 0 || s.Live.Next[i].From.After(s.Now.Add(soonPlaced)) {
		return nil, false
	}
	return s.Live.Next[i].Pads, true
}

// hands are the buttons that log something: none for who may not.
func (s Setting) hands(all ...Button) []Button {
	if s.Barred.Log {
		return nil
	}
	return all
}

// nowWords is the day, the time and how many pads lie soft.
func (s Setting) nowWords() string {
	soft := 0
	for _, p := range s.Live.Pads {
		if p.Phase == history.Soft || p.Phase == history.Placing {
			soft++
		}
	}
	return s.say(LiveWhen, message.Text("day", upper(s.Reader.Day(s.Today()))), message.At("now", s.Now),
		message.Count("soft", soft))
}

// nextAct is what the hands are to do next: a finish that can be done now comes
// before the next pad, the one that is due first before the others.
func (s Setting) nextAct() (today.Next, bool) {
	rank := func(n today.Next) int {
		switch due := !n.From.After(s.Now); {
		case due && n.Do == today.Finish:
			return 0
		case due && (n.Do == today.Place || n.Do == today.SetUp):
			return 1
		case due:
			return 2
		}
		return 3
	}
	var best today.Next
	found := false
	for _, n := range s.Live.Next {
		if n.Do == today.Form || n.Do == today.Damp || n.Do == today.CleanUp {
			continue
		}
		sooner := n.From.Before(best.From)
		if rank(n) == 0 {
			sooner = n.Until.Before(best.Until)
		}
		if !found || rank(n) < rank(best) || rank(n) == rank(best) && sooner {
			best, found = n, true
		}
	}
	if found && !best.From.After(s.Now) {
		best = s.round(best)
	}
	return best, found
}

// kindOf is the entry that says that something was done.
func kindOf(do today.Do) pour.EntryKind {
	return map[today.Do]pour.EntryKind{today.SetUp: pour.EntryStarted, today.Form: pour.EntryFormed,
		today.Place: pour.EntryPlaced, today.Finish: pour.EntryFinished, today.Cover: pour.EntryCovered,
		today.Uncover: pour.EntryUncovered,
		today.Strip:   pour.EntryStripped}[do]
}

func actCodes() map[today.Do]message.Code {
	return map[today.Do]message.Code{today.SetUp: ActSetUp, today.Form: ActForm, today.Place: ActPlace,
		today.Finish: ActFinish, today.Cover: ActCover, today.Uncover: ActUncover, today.Damp: ActDamp,
		today.Strip: ActStrip, today.CleanUp: ActCleanUp}
}

func doneCodes() map[today.Do]message.Code {
	return map[today.Do]message.Code{today.SetUp: ButtonStarted, today.Place: DonePlaced, today.Finish: DoneFinished,
		today.Cover: DoneCovered, today.Uncover: DoneUncovered, today.Strip: DoneStripped}
}

func (s Setting) act(n today.Next) message.Message {
	if len(n.Pads) == 0 {
		return message.New(actCodes()[n.Do])
	}
	return message.New(actCodes()[n.Do], message.Names("pads", n.Pads))
}

// inMinutes is up to how long ahead the numeral counts minutes.
const inMinutes = 90 * time.Minute

// countdown runs to when a step can be done, then to when it must be.
func (s Setting) countdown(n today.Next, p *Live) {
	act := message.Within("action", s.act(n))
	ready, until := n.From.After(s.Now), n.Until
	to, code, clock := n.From, LiveIn, LiveAt
	switch {
	case !ready && (until.IsZero() || s.Now.Sub(until) > inMinutes):
		p.Ask = upper(s.say(LiveNow, act))
		return
	case !ready && until.Before(s.Now):
		to, code = until, LiveLate
	case !ready:
		to, code, clock = until, LiveWithin, LiveBy
	}
	if !s.Still {
		p.CountAct, p.CountTo, p.CountThen = s.Reader.Say(s.act(n)), stamp(n.From), stamp(until)
	}
	if ready && !until.IsZero() {
		p.Span = s.say(LiveDoneBy, message.At("until", until))
	}
	left := to.Sub(s.Now).Abs()
	if left <= inMinutes {
		p.Ask = s.say(code, act)
		p.Big, p.Small = cutUnit(s.Reader.Figure(message.Duration("", left)))
	} else {
		p.Ask = s.say(clock, act)
		p.Big, p.Small = numeral(s.Reader, to)
		if unit.DateOf(to, s.Zone) != s.Today() {
			p.Lead = upper(s.Reader.Day(unit.DateOf(to, s.Zone)))
		}
	}
	if n.Do == today.Finish && !until.IsZero() && until.After(s.Now) && left <= inMinutes {
		p.Lead = s.say(LiveSheen)
		g := draw.Gauge{ID: "g", Now: s.Now, Ready: n.From, Until: until, Reader: s.Reader}
		p.Narrow, p.Wide = g.Draw(false), g.Draw(true)
	}
}

// rainAhead draws the rain of the coming hours.
func (s Setting) rainAhead(p *Live) {
	var hs []draw.RainHour
	for _, h := range s.Live.Rain.Hours {
		hs = append(hs, draw.RainHour{Time: h.Time, Chance: &h.Chance})
	}
	var soft time.Time
	for _, x := range s.Live.Pads {
		if x.Phase == history.Soft && x.InitialSet != nil && x.InitialSet.After(soft) {
			soft = *x.InitialSet
		}
	}
	p.RainNarrow = draw.Rain("r", hs, s.Now, soft, s.Reader, draw.Size{Name: "narrow", W: 358})
	p.RainWide = draw.Rain("r", hs, s.Now, soft, s.Reader, draw.Size{Name: "wide", W: 560})
}

// coverNow turns the page over: cover, the softest pad first.
func (s Setting) coverNow(p *Live) {
	a := s.Live.Advice
	p.Class, p.Ask = "cover", s.say(CoverHead)
	p.Why = []string{s.Reader.Say(a.Why)}
	worst := 0.0
	for _, x := range s.Live.Rain.Reaches {
		if slices.Contains(a.Pads, x.Pad) {
			worst = max(worst, x.Chance)
		}
	}
	if worst > 0 && !s.Live.Rain.Seen {
		p.Sure, p.SureOf = s.chance(worst), s.say(CoverChance)
	}
	c := &CoverNow{All: a.Pads}
	placed := func(name string) time.Time {
		for _, x := range s.Live.Pads {
			if x.Pad == name && x.PlacedAt != nil {
				return *x.PlacedAt
			}
		}
		return s.Now // it is being placed
	}
	softest := slices.Clone(a.Pads)
	slices.SortStableFunc(softest, func(x, y string) int { return placed(y).Compare(placed(x)) })
	for _, name := range softest {
		c.Pads = append(c.Pads, CoverPad{name, s.say(CoverPadLine, message.At("placed", placed(name)))})
	}
	for _, then := range []struct {
		class     string
		head, why message.Code
	}{{"act", CoverNoTrowel, CoverNoTrowelWhy}, {"act", CoverNoCement, CoverNoCementWhy},
		{"watch", CoverAfter, CoverAfterWhy}} {
		c.Then = append(c.Then, DoLine{Class: then.class, Word: s.say(map[string]message.Code{"act": LevelAct,
			"watch": LevelWatch}[then.class]), Text: s.say(then.head), More: s.say(then.why)})
	}
	p.Cover = c
}

func (s Setting) questionWords() []string {
	var out []string
	for _, q := range s.Live.Questions {
		if s.alone(q) {
			out = append(out, s.Reader.Say(q.Message()))
		}
	}
	return out
}
