package today

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// recheckSoon and recheckLater are how often to ask while a crew is at work or
// concrete is soft, and otherwise (judgement: short-range products are renewed
// every 5 to 15 minutes, forecasts every hour).
const (
	recheckSoon  = 15 * time.Minute
	recheckLater = time.Hour
)

// coverNow is what is to be covered against rain at once.
type coverNow struct {
	pads    []string
	none    []string // open in the rain, without a cover for them
	chance  float64  // of the worst of them being lost as it lies
	raining bool
}

// covers asks what is to be covered. In rain every soft pad that lies open is,
// as far as the covers reach.
func (d *day) covers(ctx context.Context) (coverNow, error) {
	out := coverNow{raining: d.moment.Raining}
	var open []string
	free := 0
	for _, c := range d.Spec.Stock.Covers {
		if c.Kind == pour.Plastic {
			free += c.Pads
		}
	}
	for i := range d.State.Pads {
		p := &d.State.Pads[i]
		switch {
		case p.Covered && p.Cover != pour.Blanket && p.StrippedAt == nil:
			free--
		case (p.Phase == history.Soft || p.Phase == history.Placing) && !p.Covered:
			open = append(open, p.Pad)
		}
	}
	if out.raining {
		n := min(max(free, 0), len(open))
		out.pads, out.none = open[:n:n], open[n:]
		return out, nil
	}
	if d.Decider == nil || len(open) == 0 {
		return out, nil
	}
	if free <= 0 {
		return out, nil // to say again and again what can't be done helps nobody
	}
	if err := d.worthCovering(ctx, d.moment, open, free, &out); err != nil || len(out.pads) > 0 {
		return out, err
	}
	// Where covering begun at the next look would not be done when the next hour
	// begins, what is worth covering then is covered now.
	hour := d.Now.Truncate(time.Hour).Add(time.Hour)
	if d.recheck().Add(d.coverLead(len(open))).After(hour) {
		then := d.moment.ahead(hour)
		if before := d.moment.Before; !math.IsNaN(before[0]) { // it has been dry, and is now
			then.Before = [3]float64{0, before[0], before[1]}
		}
		return out, d.worthCovering(ctx, then, open, free, &out)
	}
	return out, nil
}

// worthCovering adds the open pads that are to be covered at a moment, those that gain
// most first, as far as the free covers reach.
func (d *day) worthCovering(ctx context.Context, at Moment, open []string, free int, out *coverNow) error {
	worth, err := d.Decider.Cover(ctx, at)
	if err != nil {
		return fmt.Errorf("today: covers: %w", err)
	}
	for _, c := range worth {
		if len(out.pads) < free && c.Cover && c.Pad < len(at.Placed) && slices.Contains(open, at.Placed[c.Pad].Pad) {
			out.pads = append(out.pads, at.Placed[c.Pad].Pad)
			out.chance = max(out.chance, c.Lost)
		}
	}
	return nil
}

// How long covering takes: to put the tools down and fetch the sheets, and at most
// (judgement).
const (
	fetchSheets = 10 * time.Minute
	mostLead    = 40 * time.Minute
)

// coverLead is how long it takes the crew to cover so many pads.
func (d *day) coverLead(pads int) time.Duration {
	minutes := float64(pads) * crewday.CoverMin / float64(max(1, d.Spec.Crew.People))
	laying := time.Duration(minutes * float64(time.Minute))
	return min(fetchSheets+laying, mostLead)
}

// recheck is when a day under way is looked at again.
func (d *day) recheck() time.Time { return d.Now.Truncate(recheckSoon).Add(recheckSoon) }

// advise says what to do now: soft concrete comes first, then the next pad.
func (d *day) advise(ctx context.Context, c coverNow) (Advice, error) {
	recheck := d.recheck()
	say := func(do Do, until time.Time, why message.Message) Advice {
		return Advice{Do: do, Until: until, Why: why, RecheckAt: recheck}
	}
	switch {
	case len(c.pads) > 0 && c.raining:
		a := say(Cover, time.Time{}, message.New(NowCoverRaining, message.Names("pads", c.pads)))
		a.Pads = c.pads
		return a, nil
	case len(c.pads) > 0:
		a := say(Cover, time.Time{}, message.New(NowCover, message.Names("pads", c.pads), message.Chance("", c.chance)))
		a.Pads = c.pads
		return a, nil
	}
	if !d.begun && len(d.soft()) == 0 {
		recheck = d.Now.Truncate(recheckLater).Add(recheckLater)
	}
	switch {
	case d.State.Day.Skipped && len(d.left) == 0:
		return say(None, time.Time{}, message.New(NowCalledOff)), nil
	case len(d.left) == 0 && !d.begun:
		return say(None, time.Time{}, message.New(NowNothingToday)), nil
	case d.moment.Raining && (d.begun || len(d.left) > 0):
		do := Wait
		if !d.begun {
			do = StartLater
		}
		if len(c.none) > 0 {
			return say(do, recheck, message.New(NowSoftNoCover, message.Names("pads", c.none))), nil
		}
		return say(do, recheck, message.New(NowWaitRaining, message.At("until", recheck))), nil
	case d.Decider == nil && len(d.left) > 0 && d.begun:
		return say(None, time.Time{}, message.New(NowNoForecast)), nil
	case !d.begun && !d.near(d.left[0]):
		return say(None, d.setUpFrom(d.left[0]), message.New(NowBegins, message.At("start", d.setUpFrom(d.left[0])))),
			nil
	case d.Decider == nil:
		return say(None, time.Time{}, message.New(NowNoForecast)), nil
	}
	return d.decide(ctx, say)
}

// near reports whether a day's first step begins so soon that it is decided on:
// a crew on its way wants to know.
func (d *day) near(first Step) bool {
	return !d.setUpFrom(first).After(d.Now.Add(time.Duration(max(d.Spec.Alerts.LeadMin, 60)) * time.Minute))
}

// worthWaiting is the chance of losing the first pad below which a crew is not
// advised to begin later than planned (judgement: a crew has arranged its day).
const worthWaiting = 0.02

func (d *day) decide(ctx context.Context, say func(Do, time.Time, message.Message) Advice) (Advice, error) {
	at := d.moment
	if !d.begun {
		at = at.ahead(d.setUpFrom(d.left[0])) // the decision is about beginning as planned
	} else if free := d.free(); free.After(d.Now) {
		at = at.ahead(free)
		at.SetUp = true
	}
	x, err := d.Decider.Decide(ctx, at)
	if err != nil {
		return Advice{}, fmt.Errorf("today: what to do: %w", err)
	}
	hour := at.Now.Truncate(time.Hour).Add(time.Hour)
	figures := []message.Figure{message.Name("pad", x.Pad), message.Chance("", x.Lost)}
	var a Advice
	switch {
	case !d.begun && (x.Do == hourly.Place || x.Do == hourly.Wait && x.Lost < worthWaiting):
		start := d.setUpFrom(d.left[0])
		return say(None, start, message.New(NowBegins, message.At("start", start))), nil
	case x.Do == hourly.Place:
		a = say(GoOn, time.Time{}, message.New(NowGoOn, figures...))
	case x.Do == hourly.Wait && !d.begun:
		a = say(StartLater, hour, message.New(NowStartLater, append(figures, message.At("until", hour))...))
	case x.Do == hourly.Wait && len(d.toBegin()) == 0: // what it waits for is more than was planned
		return say(None, hour, message.New(NowAllPlaced)), nil
	case x.Do == hourly.Wait && d.resting(hour):
		start := d.left[0].PlaceFrom
		return say(None, start, message.New(NowBegins, message.At("start", start))), nil
	case x.Do == hourly.Wait:
		a = say(Wait, hour, message.New(NowWait, append(figures, message.At("until", hour))...))
	case len(d.toBegin()) == 0:
		return say(None, time.Time{}, message.New(NowAllPlaced)), nil
	default:
		pads := d.toBegin()
		a = say(Stop, time.Time{}, message.New(NowStop, message.Names("pads", pads)))
		a.Pads = pads
		return a, nil
	}
	a.Pads = []string{x.Pad}
	return a, nil
}

// restsFrom is how long after its last placing a crew is no longer about to mix the
// next batch (judgement).
const restsFrom = time.Hour

// resting reports whether the crew has paused, and was advised to begin again at an hour
// or later: that it should wait until then is nothing new.
func (d *day) resting(hour time.Time) bool {
	if len(d.left) == 0 || d.left[0].PlaceFrom.Before(hour) {
		return false
	}
	return d.placedToday() > 0 && !slices.ContainsFunc(d.State.Pads, func(p history.Pad) bool {
		return p.Phase == history.Placing || p.PlacedAt != nil && p.PlacedAt.Add(restsFrom).After(d.Now)
	})
}

// toBegin are the pads planned for the date whose placing has not begun.
func (d *day) toBegin() []string {
	var out []string
	for _, s := range d.left {
		if p := d.pad(s.Pad); p.Phase != history.Placing && !d.inHand(s) {
			out = append(out, s.Pad)
		}
	}
	return out
}

// ahead is the moment as it is expected to be at a later instant: rain that is seen
// now is not seen then, and each hour of the nowcast is so much nearer.
func (m Moment) ahead(at time.Time) Moment {
	hours := int(at.Truncate(time.Hour).Sub(m.Now.Truncate(time.Hour)) / time.Hour)
	if hours <= 0 {
		m.Now = later(m.Now, at)
		return m
	}
	said := m.Nowcast
	m.Nowcast = belief.Nowcast{}
	copy(m.Nowcast[:], said[min(hours, len(said)):])
	m.Before = [3]float64{math.NaN(), math.NaN(), math.NaN()}
	m.Now, m.Raining = at, false
	return m
}

func sameDate(a, b time.Time, zone *time.Location) bool {
	return unit.DateOf(a, zone) == unit.DateOf(b, zone)
}
