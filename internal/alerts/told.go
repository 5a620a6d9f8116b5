package alerts

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/paging"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// earlier is what the alerts about a date have said so far.
type earlier struct {
	reached *notify.Told // the newest that reached someone, or still may; nil: nothing
	failed  *notify.Told // the newest that reached nobody; nil: none
	morning bool         // the alert of the morning was raised
	changes int          // the most alerts of kind changed that one recipient got
}

// promised reports whether the last alert announced a pour. One that reached
// nobody counts too: the page showed the same.
func (e earlier) promised() bool {
	t := e.reached
	if t == nil {
		t = e.failed
	}
	return t != nil && len(t.Pads) > 0
}

// earlierOf gathers what the alerts about a date have said.
func (r *raising) earlierOf(ctx context.Context, d unit.Date) (earlier, error) {
	var out earlier
	look := func(kind notify.Kind, to notify.Recipient) (bool, error) {
		a, err := r.tx.Alert(ctx, notify.Key(r.in.Project.ID, kind, d, to.ID))
		switch {
		case errors.Is(err, fault.NotFound):
			return false, nil
		case err != nil:
			return false, fmt.Errorf("alerts: what was told: %w", err)
		}
		newest := &out.reached
		if a.State == DeliveryFailed {
			newest = &out.failed // it reached nobody
		}
		if a.Told.At.IsZero() { // what is not known must not keep the next alert from being raised
			r.log().ErrorContext(ctx, "what was told is not known", "key", a.Key)
			return true, nil
		}
		if *newest == nil || a.Told.At.After((*newest).At) {
			*newest = &a.Told
		}
		return true, nil
	}
	for _, to := range r.recipients {
		for _, kind := range [...]notify.Kind{notify.Evening, notify.Morning} {
			there, err := look(kind, to)
			if err != nil {
				return out, err
			}
			out.morning = out.morning || there && kind == notify.Morning
		}
		for n := 1; ; n++ {
			there, err := look(notify.Nth(notify.Change, n), to)
			if err != nil {
				return out, err
			}
			if !there {
				break
			}
			out.changes = max(out.changes, n)
		}
	}
	return out, nil
}

// promise returns the start of the pour that was promised for a date, by the
// alerts or by the plans since the evening before; zero: none was.
func (r *raising) promise(ctx context.Context, d unit.Date, e earlier, evening time.Time) (time.Time, error) {
	if e.promised() {
		if e.reached != nil {
			return e.reached.Start, nil
		}
		return e.failed.Start, nil
	}
	if p := r.before(d); p != nil && !r.in.ByBuilder {
		return p.Start, nil
	}
	calledOff := slices.Contains(r.in.Skipped, job.Skip{Date: d})
	if e.reached != nil || e.failed != nil || r.in.Before == nil || calledOff || r.in.Now.Before(evening) ||
		d.Before(r.in.Today()) {
		return time.Time{}, nil
	}
	// All recipients have been added since the evening: they know the plan from
	// the page, and count on an alert when it changes.
	const aDayOf = 50 // plans
	plans, _, err := r.tx.Plans(ctx, r.in.Project.ID, paging.Page{Limit: aDayOf})
	if err != nil {
		return time.Time{}, fmt.Errorf("alerts: plans since the evening: %w", err)
	}
	for _, k := range plans { // the newest first
		if p := k.On(d); p != nil {
			return p.Start, nil
		}
		if !k.MadeAt.After(evening) {
			break // it was in force then
		}
	}
	return time.Time{}, nil
}

// padsPromised are those of the pour that was promised for a date.
func (r *raising) padsPromised(d unit.Date, e earlier) []string {
	switch p := r.before(d); {
	case e.reached != nil:
		return e.reached.Pads
	case e.failed != nil:
		return e.failed.Pads
	case p != nil:
		return p.Pads
	}
	return nil
}

// change raises an alert when a date that an alert was about has changed in a way that
// a builder would act on: at once in the evening before, and from the morning's alert
// until the work is over. The morning's alert says what changed in the night between,
// and what the builder changed themselves they know.
func (r *raising) change(ctx context.Context, b notify.Brief, e earlier, morning, over time.Time) error {
	now := r.in.Now
	early := now.Before(morning) && !e.morning
	switch {
	case r.in.ByBuilder, e.reached == nil, r.in.Before == nil:
		return nil
	case early && unit.DateOf(now, r.in.Zone) == b.Date:
		return nil
	case !early && !now.Before(over):
		return nil
	case len(e.reached.Pads) > 0 && !now.Before(e.reached.Start) && !r.lowered(b):
		if !r.turned(ctx, b.Date, e.reached.Start, e.reached.Pads) {
			return nil
		}
	case !b.Changed(r.done), r.samePour(b) && !r.lowered(b):
		return nil
	}
	b.Kind, b.DueAt = notify.Change, now
	kind := notify.Nth(notify.Change, e.changes+1)
	for _, to := range r.recipients {
		if !to.Wants(notify.Change) {
			continue
		}
		b.Key = notify.Key(r.in.Project.ID, kind, b.Date, to.ID)
		if _, err := r.add(ctx, b, to); err != nil {
			return err
		}
	}
	return nil
}

// turned reports whether a pour that was to begin by now has been overtaken by
// the weather, and not by the clock alone: each plan of the day itself begins
// what is not logged anew, later and later, until it is too late, while the
// builder is at it and has no hand free to log. So the question is what would
// be planned for that start, had the weather of now been known. Nothing of a
// day that the builder has called off has turned.
func (r *raising) turned(ctx context.Context, d unit.Date, start time.Time, pads []string) bool {
	left := slices.DeleteFunc(slices.Clone(pads), r.done)
	for _, skip := range r.in.Skipped {
		if skip.Date == d {
			left = slices.DeleteFunc(left, func(pad string) bool { return skip.Pad == "" || skip.Pad == pad })
		}
	}
	if len(left) == 0 {
		return false
	}
	if p := pourOf(r.by, d, left); p != nil && !p.Start.After(r.in.Now.Add(atOnce)) {
		return false
	}
	then, err := r.in.PlanFrom(ctx, d, start, pads)
	if err != nil { // a word too many costs less than one too few
		r.log().ErrorContext(ctx, "whether a pour has turned is not known", "project", r.in.Project.ID, "error", err)
		return true
	}
	p := pourOf(then, d, left)
	return p == nil || p.Start.Sub(start) >= atOnce
}

// atOnce is how soon a plan begins a pour that nothing but the clock has moved:
// starts are half an hour apart.
const atOnce = time.Hour

// pourOf returns the pour of a date where a plan pours all of some pads then;
// nil: it does not.
func pourOf(k notify.Planned, d unit.Date, pads []string) *pour.Pour {
	i := slices.IndexFunc(k.Mornings, func(m job.Morning) bool { return m.Date == d })
	p := k.Plan.On(d)
	if p == nil || i < 0 || k.Mornings[i].Verdict == job.VerdictHold {
		return nil
	}
	if slices.ContainsFunc(pads, func(pad string) bool { return !slices.Contains(p.Pads, pad) }) {
		return nil
	}
	return p
}

// samePour reports whether the plan of before had the same pour on the date:
// then what differs from the last alert was changed by the builder, or has been sent.
func (r *raising) samePour(b notify.Brief) bool {
	was := r.before(b.Date)
	if was == nil || b.Pour == nil {
		return was == nil && b.Pour == nil
	}
	return was.Start.Equal(b.Pour.Start) && slices.Equal(was.Pads, b.Pour.Pads)
}

// before is the pour that the plan of before had on a date; nil: none.
func (r *raising) before(d unit.Date) *pour.Pour {
	if r.in.Before == nil {
		return nil
	}
	return r.in.Before.Plan.On(d)
}

// lowered reports whether the morning is a hold although a pour is planned:
// the forecast has grown too old.
func (r *raising) lowered(b notify.Brief) bool {
	return b.Pour != nil && b.Morning.Verdict == job.VerdictHold
}

// done reports whether a pad's concrete is in.
func (r *raising) done(pad string) bool {
	for _, rec := range r.in.Records {
		if rec.Pad == pad {
			return rec.PlacedAt != nil
		}
	}
	return false
}
