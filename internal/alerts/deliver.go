package alerts

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/work"
)

// Delivering. A try is leased in the alert's row for longer than any try
// lasts, so that two workers never try at the same time, and so that a try
// whose worker died is made again. Judgement: a first retry after 15 s, then
// doubled up to a quarter of an hour.
const (
	deliverLease   = 30 * time.Second
	deliverFor     = 15 * time.Second // one try
	deliverRetry   = 15 * time.Second
	deliverSlowest = 15 * time.Minute
	turnRetry      = time.Second // of an account that has all the tries at once that it may have
	urgentSlowest  = time.Minute // of what can't wait
	mostTries      = 60
	testUse        = 30 * time.Minute // how long a test is of use
	confirmUse     = 24 * time.Hour   // and the question whether alerts are wanted
)

// ofTheDay reports whether an alert is one of the day itself, and not about a
// plan.
func (d *Delivery) ofTheDay() bool {
	switch d.Kind {
	case notify.Evening, notify.Morning, notify.Change, notify.Test:
		return false
	}
	return len(d.Occasions) > 0
}

// Deliver makes one try to deliver an alert, and records what became of it.
// Nothing is done when another worker is trying, or when the alert is settled.
// When a further try is due, or as many tries of the account are under way as may
// be, it returns fault.Unavailable with RetryAfter.
func (s *Service) Deliver(ctx context.Context, account, key string) error {
	leave, ok := s.turns.take(account)
	if !ok {
		return &fault.Error{Kind: fault.Unavailable, RetryAfter: turnRetry,
			Message: fault.Stated("other alerts of the account are being sent").Message}
	}
	defer leave()
	try, err := s.beginTry(ctx, account, key)
	if err != nil || try == nil {
		return err
	}
	var sent error
	if try.refuse != nil {
		sent = try.refuse
	} else {
		sending, cancel := context.WithTimeout(ctx, deliverFor)
		sent = s.send(sending, try)
		cancel()
	}
	// What came of it is recorded even when the job's time is up meanwhile.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	o := s.outcome(try, sent)
	if err := s.settle(ctx, account, key, o); err != nil {
		return err
	}
	if errors.Is(sent, notify.ErrOver) {
		if err := s.removeRecipient(ctx, account, try.to); err != nil {
			return err
		}
	}
	s.log().InfoContext(ctx, "alert", "key", key, "state", o.State, "try", try.alert.Tries, "reason", o.Reason.Text)
	if o.State == DeliveryRetrying {
		return &fault.Error{Kind: fault.Unavailable, Message: o.Reason.Data, RetryAfter: o.NextTryAt.Sub(o.At)}
	}
	return nil
}

// try is one try under way.
type try struct {
	alert   Delivery
	to      notify.Recipient
	project pour.Project
	zone    *time.Location
	words   say.Reader
	refuse  error     // why it can't even be tried
	useless time.Time // from when on it is of no more use
}

// beginTry takes the lease. It returns nil when there is nothing to try now.
func (s *Service) beginTry(ctx context.Context, account, key string) (t *try, err error) {
	now, wait := s.Now(), time.Duration(0)
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		a, err := tx.Alert(ctx, key)
		if errors.Is(err, fault.NotFound) {
			return nil // the project or the recipient has gone
		}
		if err != nil {
			return err
		}
		p, err := tx.Project(ctx, a.Project)
		if err != nil {
			return err
		}
		zone, err := p.Location()
		if err != nil {
			return err
		}
		at := s.mayTry(a, p, zone, now)
		if wait = at.Sub(now); wait > 0 {
			if !at.After(later(a.DueAt, a.NextTryAt)) {
				return nil
			}
			// The quiet time is in its row too, else every look for what is due
			// would find it, and ask for it once more.
			return tx.SettleAlert(ctx, key, Outcome{State: a.State, Reason: a.Reason, At: now, NextTryAt: at})
		}
		ours, err := tx.LeaseAlert(ctx, key, now, now.Add(deliverLease))
		if err != nil || !ours {
			return err
		}
		t = &try{alert: a, project: p, zone: zone, words: say.For(p.Language, p.Units == place.UnitsUS),
			useless: uselessFrom(a, p, zone)}
		over, err := passedBy(ctx, tx, a)
		if err != nil {
			return err
		}
		newer, err := superseded(ctx, tx, a)
		switch {
		case err != nil:
			return err
		case over:
			t.refuse = fault.Of(fault.Invalid, DeliveryExpired, message.Count("tries", a.Tries))
		case newer:
			t.refuse = fault.Of(fault.Invalid, DeliveryOvertaken, message.Count("tries", a.Tries))
		case !now.Before(t.useless):
			t.refuse = fault.Of(fault.Invalid, DeliveryTooLate, message.Count("tries", a.Tries))
		}
		t.alert.Tries++
		if t.to, err = recipientOf(ctx, tx, a); errors.Is(err, fault.NotFound) {
			t.refuse, err = fault.Of(fault.Invalid, DeliveryRemoved), nil
		}
		return err
	})
	switch {
	case err != nil && fault.KindOf(err) != fault.Unavailable:
		return nil, fmt.Errorf("alerts: begin a try: %w", err)
	case err == nil && wait > 0:
		return nil, &fault.Error{Kind: fault.Unavailable, Message: message.New(DeliveryNotYet), RetryAfter: wait}
	}
	return t, err
}

// asked reports whether somebody who sits at the service asked for an alert just
// now: it is no news of a day, and waits for nothing.
func asked(k notify.Kind) bool { return k == notify.Test || k == notify.Confirm }

// mayTry returns when an alert may be tried: never in the quiet time, unless
// the builder asked for it.
func (s *Service) mayTry(a Delivery, p pour.Project, zone *time.Location, now time.Time) time.Time {
	if a.State == DeliverySent || a.State == DeliveryFailed {
		return now // the lease will be refused
	}
	at := later(a.DueAt, a.NextTryAt)
	at = later(at, now)
	if asked(a.Kind) || a.AnyHour {
		return at
	}
	return notify.NotQuiet(p.Alerts, at, zone)
}

// passedBy reports whether nothing that an alert of the day itself is about still
// holds: it expires then.
func passedBy(ctx context.Context, tx Tx, a Delivery) (bool, error) {
	if !a.ofTheDay() {
		return false, nil
	}
	states, err := tx.CauseStates(ctx, a.Project, a.Date)
	if err != nil {
		return false, fmt.Errorf("alerts: causes: %w", err)
	}
	return !slices.ContainsFunc(a.Occasions, func(name string) bool { return notify.Stands(name, states) }), nil
}

// superseded reports whether newer word of the same day was raised for the same
// recipient: what was true before must not be the last that they read.
func superseded(ctx context.Context, tx Tx, a Delivery) (bool, error) {
	if asked(a.Kind) || a.ofTheDay() {
		return false, nil
	}
	for page := (paging.Page{Limit: 50}); ; {
		all, next, err := tx.Alerts(ctx, a.Project, page) // the newest first
		if err != nil {
			return false, fmt.Errorf("alerts: newer word: %w", err)
		}
		for _, d := range all {
			switch {
			case d.Key == a.Key:
				return false, nil
			case d.Date == a.Date && d.Recipient == a.Recipient && !asked(d.Kind) && !d.ofTheDay():
				return true, nil
			}
		}
		if next == "" {
			return false, nil
		}
		page.Cursor = next
	}
}

// uselessFrom returns from when on an alert is of no more use: when the pour
// that it calls for can't be begun any more, else the evening's at noon of its
// date, which the morning's word has overtaken by then, and the others when the
// crew's day is over.
func uselessFrom(a Delivery, p pour.Project, zone *time.Location) time.Time {
	if a.ofTheDay() {
		if a.Message.UsedBy.IsZero() {
			return a.Date.AddDays(1).At(0, zone) // as long as its cause holds, today
		}
		return a.Message.UsedBy
	}
	over := a.Date.At(p.Crew.LatestFinish, zone)
	switch a.Kind {
	case notify.Test:
		return a.DueAt.Add(testUse)
	case notify.Confirm:
		return a.DueAt.Add(confirmUse)
	case notify.Evening:
		over = a.Date.At(12*60, zone)
	}
	over = later(over, a.DueAt.Add(leastUse))
	if len(a.Told.Pads) > 0 {
		return lastUse(later(a.Told.Start, a.Told.Latest), a.DueAt, over)
	}
	return over
}

func recipientOf(ctx context.Context, tx Tx, a Delivery) (notify.Recipient, error) {
	rs, err := tx.Recipients(ctx, a.Project)
	if err != nil {
		return notify.Recipient{}, err
	}
	for _, r := range rs {
		if r.ID == a.Recipient {
			return r, nil
		}
	}
	return notify.Recipient{}, fault.Of(fault.NotFound, RecipientUnknown)
}

func (s *Service) send(ctx context.Context, t *try) error {
	ch, ok := s.Channels[t.to.Kind]
	if !ok {
		return fault.Of(fault.Unavailable, DeliveryNoChannel, message.Term("kind", t.to.Kind))
	}
	m := t.alert.Message
	m.At = s.Now()
	if t.to.Kind == notify.Email && t.to.Secret != "" {
		m.Language = t.words.Language
		m = m.Addressed(t.alert.Kind, s.BaseURL+"/r/"+t.to.Secret, t.project.Name, t.words)
	}
	return ch.Send(ctx, t.to, m)
}

// outcome judges a try.
func (s *Service) outcome(t *try, sent error) Outcome {
	now := s.Now()
	if sent == nil {
		return Outcome{Try: t.alert.Tries, State: DeliverySent, At: now}
	}
	o := Outcome{Try: t.alert.Tries, State: DeliveryFailed, Reason: reasonOf(sent), At: now}
	slowest := deliverSlowest
	if t.alert.Message.Urgent {
		slowest = urgentSlowest
	}
	next := now.Add(work.Backoff(deliverRetry, slowest, t.alert.Key, t.alert.Tries))
	if !asked(t.alert.Kind) && !t.alert.AnyHour {
		next = notify.NotQuiet(t.project.Alerts, next, t.zone)
	}
	switch {
	case errors.Is(sent, fault.Invalid):
	case t.alert.Tries >= mostTries:
		o.Reason = o.Reason.after(DeliveryTriesOut, t.alert.Tries)
	case !next.Before(t.useless):
		o.Reason = o.Reason.after(DeliveryLateWhy, t.alert.Tries)
	default:
		o.State, o.NextTryAt = DeliveryRetrying, next
	}
	return o
}

// removeRecipient forgets one that has withdrawn by itself.
func (s *Service) removeRecipient(ctx context.Context, account string, to notify.Recipient) error {
	err := s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		return tx.DeleteRecipient(ctx, to.Project, to.ID)
	})
	if err != nil && !errors.Is(err, fault.NotFound) {
		return fmt.Errorf("alerts: remove a recipient that is no more: %w", err)
	}
	return nil
}

func (s *Service) settle(ctx context.Context, account, key string, o Outcome) error {
	err := s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		return tx.SettleAlert(ctx, key, o)
	})
	if err != nil {
		return fmt.Errorf("alerts: record the outcome of a try: %w", err)
	}
	return nil
}
