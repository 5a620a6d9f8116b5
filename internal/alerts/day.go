package alerts

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/notify"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// watch notes how the causes of the day's own alerts stand, and finds which occasions
// call for an alert.
func (r *raising) watch(ctx context.Context) error {
	if r.in.Day == nil {
		return nil
	}
	date := r.in.Today()
	before, err := r.tx.CauseStates(ctx, r.in.Project.ID, date)
	if err != nil {
		return fmt.Errorf("alerts: causes: %w", err)
	}
	w := notify.Watched{Now: *r.in.Day, Before: before, Crew: r.in.Project.Crew, Zone: r.in.Zone}
	if b, ok := r.brief(date); ok && b.Pour != nil {
		w.Latest = latestStart(b)
	}
	live, after := w.Live()
	if err := r.tx.KeepCauseStates(ctx, r.in.Project.ID, date, after); err != nil {
		return fmt.Errorf("alerts: causes: %w", err)
	}
	notify.Rank(live)
	r.live = live
	if r.dayAlerts, err = r.tx.DayAlerts(ctx, r.in.Project.ID, date); err != nil {
		return fmt.Errorf("alerts: what was sent today: %w", err)
	}
	return nil
}

// day raises the day's own alerts: for each recipient one message of all
// occasions that are due now.
func (r *raising) day(ctx context.Context) error {
	for _, to := range r.recipients {
		var now []notify.Live
		for _, x := range r.live {
			if !to.Wants(x.Kind) {
				continue
			}
			switch d := r.decide(x, to); d.Do {
			case notify.Send:
				now = append(now, x)
			case notify.PassOn:
				if err := r.passOn(ctx, x); err != nil {
					return err
				}
			default:
				if !d.At.IsZero() && d.At.After(r.in.Now) && (r.next.IsZero() || d.At.Before(r.next)) {
					r.next = d.At
				}
			}
		}
		if err := r.tell(ctx, to, now); err != nil {
			return err
		}
	}
	return nil
}

// decide says what to do about an occasion towards one recipient.
func (r *raising) decide(x notify.Live, to notify.Recipient) notify.Decision {
	var s notify.Sendings
	began := time.Time{}
	for _, d := range r.sent(x, to) {
		s.Sent++
		at := d.DueAt
		switch d.State {
		case DeliveryDue, DeliveryRetrying:
			at = r.in.Now // it is on its way
		case DeliverySent:
			at = d.SettledAt
		}
		s.LastAt = later(s.LastAt, at)
		if began.IsZero() || d.DueAt.Before(began) {
			began = d.DueAt
		}
	}
	s.Answered = s.Sent > 0 && !r.in.LastEntryAt.Before(began) // whoever taps reads the answer
	next := r.nextOfCrew()
	s.Passed = s.Sent >= notify.MostSent && (next == nil || len(r.sent(x, *next)) > 0)
	return notify.Decide(x.Occasion, s, r.danger(), r.in.Project.Alerts, r.in.Zone, r.in.Now)
}

// sent are the deliveries about an occasion to a recipient.
func (r *raising) sent(x notify.Live, to notify.Recipient) (out []Delivery) {
	for _, d := range r.dayAlerts {
		if d.Recipient == to.ID && d.Date == x.Date && slices.Contains(d.Occasions, x.Name()) {
			out = append(out, d)
		}
	}
	return out
}

// nextOfCrew is who gets the alert of an urgent occasion that nobody answers: the first
// recipient who has chosen some kinds of alert and not this one. Who gets all kinds has
// got it already. nil: nobody.
func (r *raising) nextOfCrew() *notify.Recipient {
	for i := range r.recipients {
		if !r.recipients[i].Wants(notify.Rain) {
			return &r.recipients[i]
		}
	}
	return nil
}

func (r *raising) passOn(ctx context.Context, x notify.Live) error {
	if to := r.nextOfCrew(); to != nil && !to.Wants(x.Kind) {
		return r.tell(ctx, *to, []notify.Live{x})
	}
	return nil
}

// danger is what lets an urgent alert pass the quiet time.
func (r *raising) danger() (d notify.Danger) {
	for _, p := range r.in.Day.Pads {
		d.SoftConcrete = d.SoftConcrete || p.Phase == history.Soft || p.Phase == history.Placing
	}
	for _, x := range r.in.Day.Next {
		d.Frost = d.Frost || x.Do == today.Cover && x.Why.Code == today.StepCoverFrost
	}
	return d
}

// tell keeps one message of some occasions for one recipient.
func (r *raising) tell(ctx context.Context, to notify.Recipient, now []notify.Live) error {
	if len(now) == 0 {
		return nil
	}
	lead := now[0]
	b := notify.DayBrief{First: notify.OccasionKey(r.in.Project.ID, lead.Occasion, to.ID), Again: len(r.sent(lead, to)),
		Project: r.in.Project, Zone: r.in.Zone, Now: r.in.Now, Told: now, Link: r.pageOf(r.in.Project.ID),
		Sample: r.in.Sample, SetClock: r.SetClock}
	b.Key = b.First
	if b.Again > 0 {
		b.Key += "/" + strconv.Itoa(b.Again+1)
	}
	m, err := b.Compose(r.wording())
	if err != nil {
		return err
	}
	danger := r.danger()
	a := notify.Alert{Key: b.Key, Project: r.in.Project.ID, Kind: lead.Kind, Date: lead.Date, Recipient: to.ID,
		Message: m, DueAt: r.in.Now, AnyHour: m.Urgent && (danger.SoftConcrete || danger.Frost)}
	for _, x := range now {
		a.Occasions = append(a.Occasions, x.Name())
	}
	added, err := r.Service.add(ctx, r.tx, a, r.in.Project.Account)
	if added {
		r.dayAlerts = append(r.dayAlerts, Delivery{Alert: a, State: DeliveryDue})
	}
	return err
}

// caring are the occasions of today that the morning's message of a pour takes
// along, so that they need none of their own.
func (r *raising) caring(d unit.Date, to notify.Recipient) (out []notify.Live) {
	for _, x := range r.live {
		if x.Date == d && x.Holds && x.Cares() && to.Wants(x.Kind) && len(r.sent(x, to)) == 0 {
			out = append(out, x)
		}
	}
	return out
}

// along adds to the morning's and the evening's alert what else is due for a
// recipient, and returns the names of those occasions.
func (r *raising) along(b *notify.Brief, to notify.Recipient) (occasions []string) {
	b.Also, b.Questions = nil, nil
	switch b.Kind {
	case notify.Morning:
		for _, x := range r.caring(b.Date, to) {
			b.Also = append(b.Also, x.Lines...)
			occasions = append(occasions, x.Name())
		}
	case notify.Evening:
		if r.in.Day == nil {
			break
		}
		for _, q := range r.in.Day.Questions {
			b.Questions = append(b.Questions, q.Message())
		}
	}
	return occasions
}

// lateForPlan is how long plan alerts wait for a plan that is being made anew
// before they are raised by the one before (judgement: planning has its turn
// within minutes).
const lateForPlan = 5 * time.Minute

// waits is when an alert about a plan is raised that was due: later where a
// newer plan was asked for.
func (r *raising) waits(due time.Time) time.Time {
	if r.in.Behind {
		return due.Add(lateForPlan)
	}
	return due
}
