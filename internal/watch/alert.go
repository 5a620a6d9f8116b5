package watch

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/work"
)

// RaiseAlerts keeps the alerts of one project that have come due, and says in
// its row when the next is. On a new day, and where what was logged last is not
// planned from yet, it plans again first. A project that has gone meanwhile
// needs nothing.
func (s *Service) RaiseAlerts(ctx context.Context, account, project string) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, project)
		if errors.Is(err, fault.NotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		st, err := s.stand(ctx, tx, p)
		if err != nil {
			return err
		}
		if because := st.behind(); because != "" {
			_, err = s.replanFrom(ctx, tx, st, because, byWeather)
			if st.last == nil || !errors.Is(err, errNoPlan) {
				return err
			}
			// What is due is told all the same, by the plan of before.
			s.log().Error("no new plan", "project", project, "because", because, "error", err)
		}
		return s.raise(ctx, tx, st, *st.last, byWeather)
	})
}

// behind says why the plan in force has been overtaken; empty: it has not.
func (st *standing) behind() string {
	if st.last == nil || unit.DateOf(st.last.Plan.MadeAt, st.zone).Before(st.today()) {
		return "a new day"
	}
	if e := st.unplanned(st.last.Plan); e != nil {
		return because(*e)
	}
	return ""
}

// unplanned is an entry that was logged after a plan was made, which each entry
// makes anew; nil: there is none.
func (st *standing) unplanned(p pour.Plan) *pour.LogEntry {
	for i := range st.log {
		if e := &st.log[i]; e.RecordedAt.After(p.MadeAt) {
			return e
		}
	}
	return nil
}

// Rhythm of looking at a project without new weather.
const (
	lookAgain     = 5 * time.Minute  // while it has no forecast, or no plan from what was logged last
	midnightSlack = 10 * time.Minute // by which projects differ after midnight, so that they spread
)

// raise keeps the alerts that the current plan makes due, and sets when the
// project next wants looking at. It runs in the transaction that keeps the
// plan, so that an alert exists exactly when what caused it does.
func (s *Service) raise(ctx context.Context, tx Tx, st *standing, k KeptPlan, by cause) error {
	due := Due{NextPlanAt: st.today().AddDays(1).At(0, st.zone).Add(work.Jitter(midnightSlack, st.project.ID, 0))}
	if st.forecast == nil || k.Plan.MadeAt.Before(st.today().At(0, st.zone)) || st.unplanned(k.Plan) != nil {
		due.NextPlanAt = st.now.Add(lookAgain)
	}
	recipients, err := tx.Recipients(ctx, st.project.ID)
	if err != nil {
		return fmt.Errorf("watch: recipients: %w", err)
	}
	if k.Plan.State != pour.Done && len(recipients) > 0 {
		r := raising{Service: s, tx: tx, st: st, kept: k, mornings: aged(st, k.Mornings), recipients: recipients, by: by}
		if err := r.passed(ctx); err != nil {
			return err
		}
		for d := range 3 {
			if err := r.date(ctx, st.today().AddDays(d)); err != nil {
				return err
			}
		}
		due.NextAlertAt = r.next
	}
	if k.Plan.State == pour.Done {
		due.NextPlanAt = time.Time{}
	}
	if err := tx.SetDue(ctx, st.project.ID, due); err != nil {
		return fmt.Errorf("watch: set what is due: %w", err)
	}
	return nil
}

// raising is the raising of one project's alerts.
type raising struct {
	*Service
	tx         Tx
	st         *standing
	kept       KeptPlan
	mornings   []job.Morning
	recipients []notify.Recipient
	by         cause
	next       time.Time // the earliest that is still to come; zero: none
}

// passed keeps as failed what was due about dates that have gone by since the
// last plan, while nobody was there to raise it.
func (r raising) passed(ctx context.Context) error {
	if r.st.last == nil {
		return nil
	}
	r.kept, r.mornings = *r.st.last, r.st.last.Mornings
	for _, m := range r.mornings {
		if !m.Date.Before(r.st.today()) {
			break
		}
		if err := r.date(ctx, m.Date); err != nil {
			return err
		}
	}
	return nil
}

// date looks at what is to be told of one date.
func (r *raising) date(ctx context.Context, d unit.Date) error {
	b, ok := r.brief(d)
	if !ok {
		return nil
	}
	said, err := r.saidOf(ctx, d)
	if err != nil {
		return err
	}
	b.Told = said.told
	start := d.At(r.st.project.Crew.EarliestStart, r.st.zone)
	pours := b.Pour != nil && b.Morning.Verdict != job.VerdictHold
	if pours {
		start = b.Pour.Start
	}
	over := d.At(r.st.project.Crew.LatestFinish, r.st.zone)
	evening, morning := notify.Times(r.st.project.Alerts, d, start, r.st.zone)
	promised, err := r.promise(ctx, d, said, evening)
	if err != nil {
		return err
	}
	if pours && !promised.IsZero() && promised.Before(start) {
		// Who counts on an earlier start is told before that.
		_, morning = notify.Times(r.st.project.Alerts, d, promised, r.st.zone)
	}
	if r.works(d) || b.Pour != nil {
		if err := r.at(ctx, b, notify.Evening, evening, morning); err != nil {
			return err
		}
	}
	if b.Pour != nil || !promised.IsZero() {
		useless := over
		switch {
		case pours:
			useless = lastUse(latestStart(b), morning, over)
		case !said.morning && !promised.IsZero() && !r.st.now.Before(promised) && r.st.now.Before(over) && !r.turned(ctx, d, promised, r.padsPromised(d, said)):
			useless = lastUse(promised, morning, over) // it has begun, or it is too late for it
		}
		if err := r.at(ctx, b, notify.Morning, morning, useless); err != nil {
			return err
		}
	}
	return r.change(ctx, b, said, morning, over)
}

// latestStart is when the pour of a brief can be begun at the latest.
func latestStart(b notify.Brief) time.Time {
	if w := b.Morning.Window; w != nil {
		return later(b.Pour.Start, w.LatestStart)
	}
	return b.Pour.Start
}

// leastUse is how long a word is of use at least (judgement): what may be told
// only when the quiet time ends is told then.
const leastUse = 30 * time.Minute

// lastUse is from when on a word that was due is of no more use: when what it
// tells can't be begun any more, at the latest when the work is over.
func lastUse(begin, due, over time.Time) time.Time {
	until := later(begin, due.Add(leastUse))
	if until.After(over) {
		return over
	}
	return until
}

// works reports whether the crew works on a date.
func (r *raising) works(d unit.Date) bool {
	return slices.Contains(r.st.project.Crew.Days, [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}[d.Weekday()])
}

// brief gathers what could be said of a date; false when it was not scored.
func (r *raising) brief(d unit.Date) (notify.Brief, bool) {
	b := notify.Brief{Project: r.st.project, Zone: r.st.zone, Date: d, Now: r.st.now, Link: r.pageOf(r.st.project.ID), SetClock: r.SetClock}
	i := slices.IndexFunc(r.mornings, func(m job.Morning) bool { return m.Date == d })
	if i < 0 {
		return b, false
	}
	b.Morning = r.mornings[i]
	b.Sample = r.st.forecast != nil && trustIn(r.st.forecast.Forecast, r.st.now).Sample
	for i := range r.kept.Plan.Pours {
		p := &r.kept.Plan.Pours[i]
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
	now := r.st.now
	if now.Before(due) {
		if r.next.IsZero() || due.Before(r.next) {
			r.next = due
		}
		return nil
	}
	missed := !now.Before(tooLate)
	if missed && (r.st.last == nil || r.st.last.Plan.MadeAt.After(due)) {
		return nil // nothing called for it when it would have been due
	}
	b.Kind, b.DueAt = kind, due
	for _, to := range r.recipients {
		if to.CreatedAt.After(due) {
			continue
		}
		b.Key = notify.Key(r.st.project.ID, kind, b.Date, to.ID)
		added, err := r.add(ctx, b, to)
		if err != nil {
			return err
		}
		if added && missed {
			err := r.tx.SettleAlert(ctx, b.Key, Outcome{State: DeliveryFailed, At: now,
				Reason: "it was due at " + due.In(r.st.zone).Format(time.RFC3339) + ", and the service came to it only now, too late to be of use"})
			if err != nil {
				return fmt.Errorf("watch: record a missed alert: %w", err)
			}
		}
	}
	return nil
}

// add keeps one alert and asks for its delivery.
// wording is what an alert is worded by.
func wording(b notify.Brief) say.Reader {
	r := say.For(b.Project.Language, b.Project.Units == place.UnitsUS)
	r.Zone, r.Today = b.Zone, unit.DateOf(b.Now, b.Zone)
	return r
}

func (r *raising) add(ctx context.Context, b notify.Brief, to notify.Recipient) (bool, error) {
	m, err := notify.Compose(b, wording(b))
	if err != nil {
		return false, err
	}
	return r.Service.add(ctx, r.tx, notify.Alert{Key: b.Key, Project: r.st.project.ID, Kind: b.Kind, Date: b.Date, Recipient: to.ID, Message: m, Told: b.Says(), DueAt: b.DueAt}, r.st.project.Account)
}

func (s *Service) add(ctx context.Context, tx Tx, a notify.Alert, account string) (bool, error) {
	added, err := tx.AddAlert(ctx, a)
	if err != nil {
		return false, fmt.Errorf("watch: keep an alert: %w", err)
	}
	if !added {
		return false, nil
	}
	if err := tx.Enqueue(ctx, work.Deliver{Account: account, Key: a.Key}); err != nil {
		return false, fmt.Errorf("watch: enqueue a delivery: %w", err)
	}
	return true, nil
}
