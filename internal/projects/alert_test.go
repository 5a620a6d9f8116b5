package projects_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/pour"
	"dryslot/internal/say"
)

// wet rains 4 mm in every hour of a day of June between two hours.
func wet(day, from, until int) func(time.Time) float64 {
	return func(t time.Time) float64 {
		if _, m, d := t.UTC().Date(); m == time.June && d == day && t.UTC().Hour() >= from && t.UTC().Hour() < until {
			return 4
		}
		return 0
	}
}

// mornings begin when light and crew do, 06:00 in June: word 90 minutes before
// is due at 04:30.
func TestTheEveningBeforeAndTheMorning(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	p := w.project()
	w.recipient(p)
	k := w.weather(p)
	if len(k.Plan.Pours) == 0 || k.Plan.Pours[0].Date.String() != "2026-06-10" {
		t.Fatalf("the plan is %+v", k.Plan)
	}
	w.look(p)
	w.at(9, 18, 59)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 0 {
		t.Fatalf("sent before its time: %q", got)
	}
	w.at(9, 19, 0)
	w.look(p)
	w.look(p)
	w.at(9, 23, 0)
	w.weather(p)
	w.look(p)
	start := func() time.Time { k, _ := w.current(p); return k.Plan.Pours[0].Start }
	if got := w.mail.Subjects(); len(got) != 1 || !strings.HasPrefix(got[0], "Pour") ||
		!strings.Contains(got[0], "Wednesday 06:00: A, B, C") {
		t.Fatalf("in the evening: %q", got)
	}
	w.at(10, 3, 50)
	w.weather(p)
	due := start().Add(-90 * time.Minute)
	if quiet := time.Date(2026, 6, 10, 4, 30, 0, 0, lisbon(t)); due.Before(quiet) {
		due = quiet
	}
	w.at(10, due.In(lisbon(t)).Hour(), due.In(lisbon(t)).Minute()-1)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 1 {
		t.Fatalf("sent before its time: %q", got)
	}
	w.at(10, due.In(lisbon(t)).Hour(), due.In(lisbon(t)).Minute())
	w.look(p)
	w.look(p)
	w.at(10, 5, 30)
	w.weather(p)
	w.look(p)
	got := w.mail.Subjects()
	if len(got) != 2 || !strings.Contains(got[1], "our Wednesday") &&
		!strings.Contains(got[1], "our with care Wednesday") {
		t.Fatalf("in the morning: %q", got)
	}
	for _, a := range w.alerts(p) {
		if a.State != alerts.DeliverySent || a.Tries != 1 || a.SettledAt.IsZero() {
			t.Errorf("%s: %s after %d tries", a.Key, a.State, a.Tries)
		}
	}
}

func TestAPourThatTurnsIntoAHoldIsToldAtOnceInTheEvening(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.at(9, 19, 0)
	w.look(p)
	w.feed.Set(wet(10, 0, 24), nil)
	w.at(9, 22, 10)
	w.weather(p)
	w.look(p)
	got := w.mail.Subjects()
	if len(got) != 2 || !strings.HasPrefix(got[1], "Changed: don't pour Wednesday") {
		t.Fatalf("told %q", got)
	}
	// And back again, which is a second change of the same date.
	w.feed.Set(nil, nil)
	w.at(9, 23, 40)
	w.weather(p)
	w.look(p)
	got = w.mail.Subjects()
	if len(got) != 3 || !strings.HasPrefix(got[2], "Changed: pour") {
		t.Fatalf("told %q", got)
	}
}

func TestAPourThatTurnsIntoAHoldInTheNightIsToldInTheMorning(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.at(9, 19, 0)
	w.look(p)
	w.feed.Set(wet(10, 0, 24), nil)
	w.at(10, 2, 0)
	w.weather(p)
	w.look(p)
	w.at(10, 4, 29)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 1 {
		t.Fatalf("woken in the night: %q", got)
	}
	w.at(10, 4, 30)
	w.look(p)
	got := w.mail.Subjects()
	if len(got) != 2 || !strings.HasPrefix(got[1], "Don't pour Wednesday (") {
		t.Fatalf("told %q", got)
	}
}

func TestWhatTheBuilderDidIsNotToldBack(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.at(9, 19, 0)
	w.look(p)
	w.at(10, 4, 30)
	w.weather(p)
	w.look(p)
	k, _ := w.current(p)
	w.at(10, 8, 0)
	for _, pad := range k.Plan.Pours[0].Pads[:1] {
		if _, err := w.Record(context.Background(), w.account, p.ID,
			pour.LogEntry{Kind: pour.EntryPlaced, Pad: pad, At: w.clock().Add(-10 * time.Minute)}); err != nil {
			t.Fatal(err)
		}
	}
	w.look(p)
	w.at(10, 9, 0)
	w.weather(p)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 2 {
		t.Errorf("told %q", got)
	}
}

func TestWhatWasMissedLeavesATrace(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.at(10, 20, 0) // nobody ran since half past five of the day before
	w.look(p)
	seen := map[notify.Kind]string{}
	for _, a := range w.alerts(p) {
		if a.Date.String() == "2026-06-10" {
			seen[a.Kind] = fmt.Sprintf("%s: %s", a.State, a.Reason.Data)
		}
	}
	for _, kind := range []notify.Kind{notify.Evening, notify.Morning} {
		if !strings.HasPrefix(seen[kind], "failed: delivery_missed due_at=2026-06-") {
			t.Errorf("%s of the day that was missed: %q", kind, seen[kind])
		}
	}
	if got := w.mail.Subjects(); len(got) != 1 || !strings.Contains(got[0], "Thursday") {
		t.Errorf("sent %q", got)
	}
}

func TestNewRecipientsAreNotToldOfThePast(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	w.at(9, 20, 0)
	w.recipient(p)
	w.look(p)
	if got := w.alerts(p); len(got) != 0 {
		t.Errorf("kept %+v", got)
	}
}

func TestATestIsSentAtOnceAndOnceAMinute(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	r := w.recipient(p)
	w.at(10, 1, 0) // in the quiet time: the builder asked for it
	ctx := context.Background()
	for range 2 {
		d, err := w.alerting.TestRecipient(ctx, w.account, p.ID, r.ID)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.alerting.Deliver(ctx, w.account, d.Key); err != nil {
			t.Fatal(err)
		}
	}
	if got := w.mail.Subjects(); !slices.Equal(got, []string{"Test: alerts about Well-house floor reach you"}) {
		t.Errorf("sent %q", got)
	}
	if _, err := w.alerting.TestRecipient(ctx, w.account, p.ID, "0190aaaa-0000-7000-8000-000000000000"); !errors.Is(err,
		fault.NotFound) {
		t.Errorf("a recipient that is not there: %v", err)
	}
}

func TestRecipientsAreChecked(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	for _, r := range []notify.Recipient{
		{Kind: "pigeon", Address: "builder@example.org"}, {Kind: "email", Address: "builder"},
		{Kind: "email", Address: "Bee <b@example.org>"},
		{Kind: "email", Address: "b@example.org\r\nBcc: c@example.org"},
		{Kind: "webhook", Address: "ftp://example.org"},
		{Kind: "webhook", Address: "https://"},
		{Kind: "webhook", Address: "https://example.org/\x00"},
		{Kind: "webhook", Address: "https://example.org/" + strings.Repeat("x", 2000)},
	} {
		r.Project = p.ID
		if _, err := w.alerting.AddRecipient(context.Background(), w.account, r); !errors.Is(err, fault.Invalid) {
			t.Errorf("%s %q: %v", r.Kind, r.Address, err)
		}
	}
	r, err := w.alerting.AddRecipient(context.Background(), w.account,
		notify.Recipient{Project: p.ID, Kind: "webhook", Address: "https://hooks.example/x"})
	if err != nil || !strings.HasPrefix(r.Secret, "whsec_") {
		t.Errorf("%+v, %v", r, err)
	}
	// The longest address that the pages take.
	long := "https://hooks.example/" + strings.Repeat("x", 2000-len("https://hooks.example/"))
	if _, err := w.alerting.AddRecipient(context.Background(), w.account,
		notify.Recipient{Project: p.ID, Kind: "webhook", Address: long}); err != nil {
		t.Errorf("an address of %d characters: %v", len(long), err)
	}
	if _, err := w.alerting.AddRecipient(context.Background(), w.account,
		notify.Recipient{Project: p.ID, Kind: "webhook", Address: long + "x"}); !errors.Is(err, fault.Invalid) {
		t.Errorf("an address of %d characters: %v", len(long)+1, err)
	}
}

// A project's alerts come in its language, and the languages that a project
// may have are those that sentences are worded in.
func TestAProjectsAlertsComeInItsLanguage(t *testing.T) {
	t.Parallel()
	if !slices.Equal(pour.Languages(), say.Languages()) {
		t.Errorf("a project may have %v, and %v are worded", pour.Languages(), say.Languages())
	}
	w := newWorld(t)
	p := w.project()
	spec, language := p.Spec, "es-419"
	spec.Language = &language
	p, err := w.ChangeProject(context.Background(), w.account, p.ID, p.Revision, spec)
	if err != nil {
		t.Fatal(err)
	}
	r := w.recipient(p)
	w.at(10, 1, 0)
	d, err := w.alerting.TestRecipient(context.Background(), w.account, p.ID, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.alerting.Deliver(context.Background(), w.account, d.Key); err != nil {
		t.Fatal(err)
	}
	if got := w.mail.Subjects(); !slices.Equal(got, []string{"Prueba: los avisos de Well-house floor le llegan"}) {
		t.Errorf("sent %q", got)
	}
}
