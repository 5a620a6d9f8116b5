package alerts

import (
	"context"
	"fmt"
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/work"
)

// Raise keeps the alerts that a project's plan makes due, and returns when the
// next is; zero: none is to come. It joins the transaction that ctx carries,
// which keeps the plan, so that an alert exists exactly when what caused it
// does.
func (s *Service) Raise(ctx context.Context, in notify.Situation) (next time.Time, err error) {
	err = s.Store.InAccount(ctx, in.Project.Account, func(ctx context.Context, tx Tx) error {
		recipients, err := tx.Recipients(ctx, in.Project.ID)
		if err != nil {
			return fmt.Errorf("alerts: recipients: %w", err)
		}
		if recipients = notify.Reachable(recipients); len(recipients) == 0 {
			return nil
		}
		r := raising{Service: s, tx: tx, in: in, by: in.Planned, recipients: recipients}
		if err := r.watch(ctx); err != nil {
			return err
		}
		if err := r.plan(ctx); err != nil {
			return err
		}
		if err := r.day(ctx); err != nil {
			return err
		}
		next = r.next
		return nil
	})
	return next, err
}

// raising is the raising of one project's alerts.
type raising struct {
	*Service
	tx         Tx
	in         notify.Situation
	by         notify.Planned // the plan that alerts are about
	recipients []notify.Recipient
	next       time.Time // the earliest that is still to come; zero: none

	live      []notify.Live // the day's own occasions, the pressing ones first
	dayAlerts []Delivery    // sent of them today
}

// plan raises the alerts that are due about the plan; none once all is poured.
func (r *raising) plan(ctx context.Context) error {
	if r.in.Plan.State == pour.Done {
		return nil
	}
	if err := r.passed(ctx); err != nil {
		return err
	}
	for d := range 3 {
		if err := r.date(ctx, r.in.Today().AddDays(d)); err != nil {
			return err
		}
	}
	return nil
}

// passed records as failed the alerts that fell due while the service was down,
// about dates that have passed since the last plan.
func (r raising) passed(ctx context.Context) error {
	if r.in.Before == nil {
		return nil
	}
	r.by = *r.in.Before
	for _, m := range r.by.Mornings {
		if !m.Date.Before(r.in.Today()) {
			break
		}
		if err := r.date(ctx, m.Date); err != nil {
			return err
		}
	}
	return nil
}

// date raises the alerts that are due about one date.
func (r *raising) date(ctx context.Context, d unit.Date) error {
	b, ok := r.brief(d)
	if !ok {
		return nil
	}
	told, err := r.earlierOf(ctx, d)
	if err != nil {
		return err
	}
	b.Told = told.reached
	start := d.At(r.in.Project.Crew.EarliestStart, r.in.Zone)
	pours := b.Pour != nil && b.Morning.Verdict != job.VerdictHold
	if pours {
		start = b.Pour.Start
	}
	over := d.At(r.in.Project.Crew.LatestFinish, r.in.Zone)
	evening, morning := notify.Times(r.in.Project.Alerts, d, start, r.in.Zone)
	promised, err := r.promise(ctx, d, told, evening)
	if err != nil {
		return err
	}
	if pours && !promised.IsZero() && promised.Before(start) {
		// Who counts on an earlier start gets the alert before that one.
		_, morning = notify.Times(r.in.Project.Alerts, d, promised, r.in.Zone)
	}
	if r.in.Project.Crew.WorksOn(d) || b.Pour != nil {
		if err := r.at(ctx, b, notify.Evening, evening, morning); err != nil {
			return err
		}
	}
	if b.Pour != nil || !promised.IsZero() {
		useless := over
		switch {
		case pours:
			useless = lastUse(latestStart(b), morning, over)
		case !told.morning && !promised.IsZero() && !r.in.Now.Before(promised) && r.in.Now.Before(over) &&
			!r.turned(ctx, d, promised, r.padsPromised(d, told)):
			useless = lastUse(promised, morning, over) // it has begun, or it is too late for it
		}
		if err := r.at(ctx, b, notify.Morning, morning, useless); err != nil {
			return err
		}
	}
	return r.change(ctx, b, told, morning, over)
}

// latestStart is when the pour of a brief can be begun at the latest.
func latestStart(b notify.Brief) time.Time {
	if w := b.Morning.Window; w != nil {
		return later(b.Pour.Start, w.LatestStart)
	}
	return b.Pour.Start
}

// leastUse is how long an alert that waited for the end of the quiet time is useful at
// least (judgement).
const leastUse = 30 * time.Minute

// lastUse is when an alert that was due becomes useless: when the work that it asks for
// can't be begun any more, at the latest when the work is over.
func lastUse(begin, due, over time.Time) time.Time {
	until := later(begin, due.Add(leastUse))
	if until.After(over) {
		return over
	}
	return until
}

// brief gathers what could be said of a date; false when it was not scored.
func (r *raising) brief(d unit.Date) (notify.Brief, bool) {
	b := notify.Brief{Project: r.in.Project, Zone: r.in.Zone, Date: d, Now: r.in.Now, Link: r.pageOf(r.in.Project.ID),
		SetClock: r.SetClock}
	i := slices.IndexFunc(r.by.Mornings, func(m job.Morning) bool { return m.Date == d })
	if i < 0 {
		return b, false
	}
	b.Morning = r.by.Mornings[i]
	b.Sample = r.in.Sample
	for i := range r.by.Plan.Pours {
		p := &r.by.Plan.Pours[i]
		switch {
		case p.Date == d && len(p.Pads) > 0:
			b.Pour = p
		case d.Before(p.Date) && b.Next == nil:
			b.Next = p
		}
	}
	return b, true
}

func (s *Service) pageOf(project string) string {
	if s.BaseURL == "" {
		return ""
	}
	return s.BaseURL + "/p/" + project
}

// at raises one kind of alert when its time has come. From tooLate on it is of
// no more use: when it was due under a plan of before, and nobody was there to
// send it, it is kept as failed, so that it is not lost without a trace.
func (r *raising) at(ctx context.Context, b notify.Brief, kind notify.Kind, due, tooLate time.Time) error {
	now := r.in.Now
	if at := r.waits(due); now.Before(at) {
		if r.next.IsZero() || at.Before(r.next) {
			r.next = at
		}
		return nil
	}
	missed := !now.Before(tooLate)
	if missed && (r.in.Before == nil || r.in.Before.Plan.MadeAt.After(due)) {
		return nil // nothing called for it when it would have been due
	}
	b.Kind, b.DueAt = kind, due
	for _, to := range r.recipients {
		if to.Since().After(due) || !to.Wants(kind) {
			continue
		}
		b.Key = notify.Key(r.in.Project.ID, kind, b.Date, to.ID)
		occasions := r.along(&b, to)
		added, err := r.add(ctx, b, to, occasions...)
		if err != nil {
			return err
		}
		if added && missed {
			err := r.tx.SettleAlert(ctx, b.Key, Outcome{State: DeliveryFailed, At: now,
				Reason: coded(message.New(DeliveryMissed, message.At("due", due.In(r.in.Zone))))})
			if err != nil {
				return fmt.Errorf("alerts: record a missed alert: %w", err)
			}
		}
	}
	return nil
}

// wording is what the project's alerts are worded by.
func (r *raising) wording() say.Reader {
	w := say.For(r.in.Project.Language, r.in.Project.Units == place.UnitsUS)
	w.Zone, w.Today = r.in.Zone, r.in.Today()
	return w
}

// add keeps one alert about a plan, with the occasions of the day that it names
// too, and asks for its delivery.
func (r *raising) add(ctx context.Context, b notify.Brief, to notify.Recipient, occasions ...string) (bool, error) {
	m, err := notify.Compose(b, r.wording())
	if err != nil {
		return false, err
	}
	m.Link = b.Link
	inQuiet := b.Kind == notify.Morning && b.Pour != nil &&
		!notify.NotQuiet(r.in.Project.Alerts, b.Pour.Start, r.in.Zone).Equal(b.Pour.Start)
	a := notify.Alert{Key: b.Key, Project: r.in.Project.ID, Kind: b.Kind, Date: b.Date, Recipient: to.ID, Message: m,
		Told: b.Says(), DueAt: b.DueAt, Occasions: occasions, AnyHour: inQuiet}
	added, err := r.Service.add(ctx, r.tx, a, r.in.Project.Account)
	if added && len(occasions) > 0 {
		r.dayAlerts = append(r.dayAlerts, Delivery{Alert: a, State: DeliveryDue})
	}
	return added, err
}

// add keeps one alert and asks for its delivery.
func (s *Service) add(ctx context.Context, tx Tx, a notify.Alert, account string) (bool, error) {
	added, err := tx.AddAlert(ctx, a)
	if err != nil {
		return false, fmt.Errorf("alerts: keep an alert: %w", err)
	}
	if !added {
		return false, nil
	}
	if err := tx.Enqueue(ctx, work.Deliver{Account: account, Key: a.Key}); err != nil {
		return false, fmt.Errorf("alerts: enqueue a delivery: %w", err)
	}
	return true, nil
}
