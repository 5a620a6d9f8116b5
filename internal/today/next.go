package today

import (
	"slices"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// dryEnough is the chance of rain reaching a pad below which its cover may come
// off (judgement: half of the chance at which covering is worth its work).
const dryEnough = 0.05

// frostLimit is the chance of freezing from which a pad is covered for the
// night (judgement: a blanket costs minutes, a frozen pad is lost).
const frostLimit = 0.05

// uncoverAt is when blankets come off, on the day on which they may: the sun has
// taken over (judgement).
const uncoverAt = unit.Clock(9 * 60)

// next lists all that is to be done within Ahead.
func (d *day) next(c coverNow, r Rain) []Next {
	var out []Next
	add := func(do Do, pads []string, from, until time.Time, why message.Message) {
		late := !until.IsZero() && until.Before(d.Now)
		if from.IsZero() || from.After(d.Now.Add(Ahead)) {
			return
		}
		x := Next{Do: do, Pads: pads, From: from, Until: until, Late: late, Why: why}
		if do == Finish {
			x.Work = d.finishing(pads)
		}
		out = append(out, x)
	}
	d.work(d.left, d.State.Day.StartedAt != nil || d.placedToday() > 0, add)
	d.work(d.later, false, add)
	for i := range d.State.Pads {
		d.padNext(&d.State.Pads[i], r, add)
	}
	if len(c.pads) > 0 {
		why := message.New(NowCoverRaining, message.Names("pads", c.pads))
		if !c.raining {
			why = message.New(StepCoverRain, message.Names("pads", c.pads), message.Chance("", c.chance))
		}
		add(Cover, c.pads, d.Now, time.Time{}, why)
	}
	d.cleanUp(out, add)
	slices.SortStableFunc(out, func(a, b Next) int { return a.From.Compare(b.From) })
	return out
}

// finishing is how long the crew is at the finish of some pads.
func (d *day) finishing(pads []string) (work time.Duration) {
	c := &d.Spec.Crew
	for _, p := range d.Spec.Pads {
		if slices.Contains(pads, p.Name) {
			work += time.Duration(c.FinishMinPerM2 * p.AreaM2() / float64(max(1, c.People)) * float64(time.Minute))
		}
	}
	return work
}

type adder func(do Do, pads []string, from, until time.Time, why message.Message)

// work lists the steps of one date's pads that are not placed.
func (d *day) work(steps []Step, begun bool, add adder) {
	if len(steps) == 0 {
		return
	}
	first := steps[0]
	if !begun {
		add(SetUp, []string{}, d.setUpFrom(first), first.PlaceFrom, message.New(StepSetUp))
	}
	var bare []string
	for _, s := range steps {
		if p := d.pad(s.Pad); p != nil && p.FormedAt == nil {
			bare = append(bare, s.Pad)
		}
	}
	if len(bare) > 0 {
		add(Form, bare, d.setUpFrom(first), first.PlaceFrom, message.New(StepForm, message.Names("pads", bare)))
	}
	for _, s := range steps {
		pads := []string{s.Pad}
		add(Place, pads, s.PlaceFrom, s.PlaceUntil, message.New(StepPlace, message.Names("pads", pads)))
		if !s.FinishUntil.IsZero() {
			add(Finish, pads, s.FinishFrom, s.FinishUntil,
				message.New(StepFinish, message.Names("pads", pads), message.At("until", s.FinishUntil)))
		}
	}
}

// padNext lists what a placed pad asks for.
func (d *day) padNext(p *history.Pad, r Rain, add adder) {
	if p.PlacedAt == nil || p.Phase == history.Cured {
		return
	}
	pads := []string{p.Pad}
	names := message.Names("pads", pads)
	s := d.slabs[p.Pad]
	if p.FinishedAt == nil && p.StrippedAt == nil && !s.FinishUntil.IsZero() && p.Phase != history.Hard {
		add(Finish, pads, s.FinishFrom, s.FinishUntil, message.New(StepFinish, names,
			message.At("until", s.FinishUntil)))
	}
	if p.StrippedAt == nil {
		add(Strip, pads, d.stripAt(p, s), time.Time{}, message.New(StepStrip, names))
	}
	if !s.FinalSet.IsZero() && !s.CuredBy.IsZero() && s.Freezes < frostLimit {
		from := later(s.FinalSet, d.Now)
		add(Damp, pads, from, s.CuredBy, message.New(StepDamp, names, message.At("cured", s.CuredBy)))
	}
	d.frost(p, s, add)
	d.uncover(p, s, r, add)
}

// frost asks for a blanket before dark on a pad that may freeze in the night.
// It is laid when the surface no longer marks, at final set.
func (d *day) frost(p *history.Pad, s Slab, add adder) {
	blanketed := p.Covered && (p.Cover == pour.Blanket || p.Cover == "")
	safe := !s.FrostSafe.IsZero() && s.FrostSafe.Before(d.Now)
	if blanketed || safe || s.Freezes < frostLimit {
		return
	}
	from := d.Now
	if !s.FinalSet.IsZero() {
		from = later(s.FinalSet, from)
	}
	until := time.Time{}
	dark := d.LastLight
	if dark.IsZero() { // it is light or dark all day: before the crew leaves
		dark = d.date.At(d.Spec.Crew.LatestFinish, d.Zone)
	}
	if dark.After(d.Now) {
		until = dark
		if from.After(until) {
			from = until
		}
	}
	pads := []string{p.Pad}
	add(Cover, pads, from, until, message.New(StepCoverFrost, message.Names("pads", pads),
		message.Chance("", s.Freezes)))
}

// uncover says when a cover comes off: one against rain when rain is over and
// little is to come before the pad has set, one against frost in the morning.
func (d *day) uncover(p *history.Pad, s Slab, r Rain, add adder) {
	if !p.Covered {
		return
	}
	pads := []string{p.Pad}
	names := message.Names("pads", pads)
	if p.Cover == pour.Blanket {
		add(Uncover, pads, d.blanketOff(p, s), time.Time{}, message.New(StepUncoverFrost, names))
		return
	}
	if p.StrippedAt != nil || p.FinishedAt != nil || p.Cover == pour.Burlap || r.Seen ||
		d.Decider == nil && p.Phase == history.Soft {
		return // over a finished pad it keeps the damp in
	}
	for _, x := range r.Reaches {
		if x.Pad == p.Pad && x.Chance >= dryEnough {
			if !s.InitialSet.IsZero() {
				add(Uncover, pads, later(s.InitialSet, d.Now), time.Time{}, message.New(StepUncoverRain, names))
			}
			return
		}
	}
	add(Uncover, pads, d.Now, time.Time{}, message.New(StepUncoverRain, names))
}

// blanketOff is when the blanket on a pad comes off: on the first morning on which it
// may. Zero: not known.
func (d *day) blanketOff(p *history.Pad, s Slab) time.Time {
	off := d.orProtected(p, s.UncoverFrom)
	if off.IsZero() {
		return time.Time{}
	}
	off = later(off, unit.DateOf(*p.CoveredAt, d.Zone).AddDays(1).At(uncoverAt, d.Zone))
	morning := unit.DateOf(off, d.Zone)
	if off.After(morning.At(uncoverAt, d.Zone)) {
		morning = morning.AddDays(1)
	}
	return later(morning.At(uncoverAt, d.Zone), d.Now)
}

// stripAt is when a pad is stripped: in the crew's hours, when the concrete is strong
// enough. Under a blanket it waits until that comes off, since the form keeps the edges
// warm, unless the form is wanted for a pad of today or tomorrow (common practice).
// Zero: not known.
func (d *day) stripAt(p *history.Pad, s Slab) time.Time {
	strong := d.orProtected(p, s.StripFrom)
	if strong.IsZero() {
		return time.Time{}
	}
	at := later(strong, d.Now)
	if p.Covered && p.Cover == pour.Blanket && !d.formWanted(p.Pad) {
		off := d.blanketOff(p, s)
		if off.IsZero() {
			return time.Time{}
		}
		at = later(at, off)
	}
	date, crew := unit.DateOf(at, d.Zone), &d.Spec.Crew
	if at.After(date.At(crew.LatestFinish, d.Zone)) {
		date = date.AddDays(1)
	}
	return later(at, date.At(crew.EarliestStart, d.Zone))
}

// formWanted reports whether a pad that is still to be placed, today or tomorrow, is
// cast in the form set that a pad lies in.
func (d *day) formWanted(pad string) bool {
	set := d.formSet(pad)
	if set == "" {
		return false
	}
	waits := func(s Step) bool { return d.formSet(s.Pad) == set }
	return slices.ContainsFunc(d.left, waits) || slices.ContainsFunc(d.later, waits)
}

// formSet is the form set that a pad is cast in; empty: a form of its own.
func (d *day) formSet(pad string) string {
	for i := range d.Spec.Pads {
		if p := &d.Spec.Pads[i]; p.Name == pad && p.FormSet != nil {
			return *p.FormSet
		}
	}
	return ""
}

// orProtected is a time that follows from a pad's slab; where its weather is held no more, or
// not at all, the end of the days of protection, when the slab is strong enough.
func (d *day) orProtected(p *history.Pad, of time.Time) time.Time {
	if _, known := d.slabs[p.Pad]; !known {
		return p.PlacedAt.Add(protection())
	}
	return of
}

// protection is how long after placing a slab is protected whose weather is not known:
// the longer time of cold weather, whatever weather and mix were.
func protection() time.Duration {
	days, _ := concrete.ProtectionDays(concrete.Exposed, false)
	return time.Duration(days) * 24 * time.Hour
}

// cleanUp follows the last placing and finishing of the date.
func (d *day) cleanUp(steps []Next, add adder) {
	last := time.Time{}
	for _, s := range steps {
		if (s.Do == Place || s.Do == Finish) && sameDate(s.From, d.Now, d.Zone) {
			last = later(last, s.Until)
		}
	}
	if last.IsZero() {
		return
	}
	until := last.Add(time.Duration(d.Spec.Crew.CleanUpMin * float64(time.Minute)))
	add(CleanUp, []string{}, last, until, message.New(StepCleanUp))
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
