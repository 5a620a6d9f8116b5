package projects_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/fault"
	"dryslot/internal/notify"
	"dryslot/internal/pour"
)

// toldToPour is a project whose builder was told of Wednesday's pour, begun at
// six, in the evening and in the morning.
func toldToPour(t *testing.T) (*world, pour.Project) {
	t.Helper()
	w, p := newAlerted(t)
	w.at(9, 19, 0)
	w.look(p)
	w.at(10, 4, 30)
	w.weather(p)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 2 || !strings.Contains(got[1], "06:00") {
		t.Fatalf("told %q: this test tests nothing", got)
	}
	return w, p
}

// theDay goes through Wednesday from 06:20 on as forecasts come, so many of
// them, the tenth at 17:35; each is looked at.
func (w *world) theDay(p pour.Project, looks int, at func(look int)) {
	w.t.Helper()
	w.at(10, 6, 20)
	for i := range looks {
		if at != nil {
			at(i)
		}
		w.weather(p)
		w.look(p)
		w.later(75 * time.Minute) // when the next is due
	}
}

// Each plan of the day begins what is not logged anew. That is the clock's
// doing, and no news to someone whose hands are in the concrete.
func TestAPourUnderWayIsLeftInPeaceWhileTheWeatherHolds(t *testing.T) {
	t.Parallel()
	w, p := toldToPour(t)
	w.theDay(p, 10, nil)
	if got := w.mail.Subjects(); len(got) != 2 {
		t.Errorf("told %q", got[2:])
	}
}

func TestAPourUnderWayIsToldOfWeatherThatTurns(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		look, from, until int // at which look 4 mm an hour are first forecast, and for when, in Lisbon
		told              string
	}{
		"that may be waited out":            {0, 8, 12, "Changed: pour Wednesday"},
		"for the rest of the day":           {0, 8, 20, "Changed: don't pour Wednesday"},
		"while one could still begin":       {2, 9, 20, "Changed: don't pour Wednesday"},
		"too late to do harm":               {2, 16, 20, ""},
		"when what was begun at six is set": {7, 16, 18, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w, p := toldToPour(t)
			w.theDay(p, min(10, c.look+3), func(look int) {
				if look == c.look {
					w.feed.Set(wet(10, c.from-1, c.until-1), nil) // Lisbon is an hour ahead
				}
				got := w.mail.Subjects()[2:]
				if look <= c.look && len(got) != 0 || look == c.look+1 && c.told != "" && len(got) != 1 {
					t.Fatalf("told before the look %d: %q", look, got)
				}
			})
			got := w.mail.Subjects()[2:]
			if c.told == "" && len(got) != 0 || c.told != "" && (len(got) != 1 || !strings.HasPrefix(got[0], c.told)) {
				t.Errorf("told %q, want %q", got, c.told)
			}
		})
	}
}

// A builder's own word that today is off is not told back.
func TestWhatTheBuilderCallsOffHasNotTurned(t *testing.T) {
	t.Parallel()
	w, p := toldToPour(t)
	w.theDay(p, 4, func(look int) {
		if look == 1 {
			w.record(p, pour.LogEntry{Kind: pour.EntrySkipped, At: w.clock()})
		}
	})
	if got := w.mail.Subjects(); len(got) != 2 {
		t.Errorf("told %q", got[2:])
	}
}

// Who counts on a start at six is told before six that it is to be later.
func TestALaterStartIsToldBeforeTheOneThatWasPromised(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ hour, min int }{"planned in the night": {2, 0},
		"planned after the morning's word": {5, 41}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w, p := newAlerted(t)
			w.at(9, 19, 0)
			w.look(p)
			if c.hour > 4 {
				w.at(10, 4, 30)
				w.weather(p)
				w.look(p)
			}
			w.feed.Set(wet(10, 7, 11), nil)
			w.at(10, c.hour, c.min)
			w.weather(p)
			w.look(p)
			if c.hour < 4 {
				if got := w.mail.Subjects(); len(got) != 1 {
					t.Fatalf("woken in the night: %q", got)
				}
				w.at(10, 4, 30)
				w.look(p)
			}
			got := w.mail.Subjects()
			if last := got[len(got)-1]; strings.Contains(last, "06:00") ||
				!strings.Contains(strings.ToLower(last), "pour wednesday") {
				t.Errorf("at %s told %q", w.clock().Format("15:04"), got)
			}
		})
	}
}

// The morning's word is of use while what it tells can still be begun.
func TestAMorningsWordThatIsRaisedLate(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		hour   int
		replan bool
		state  alerts.DeliveryState
	}{
		"in time":               {13, false, alerts.DeliverySent},
		"past the latest start": {15, false, alerts.DeliveryFailed},
		"past the latest start, and planned again": {15, true, alerts.DeliveryFailed},
		"past the day's work":                      {21, false, alerts.DeliveryFailed},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w, p := newAlerted(t)
			w.at(9, 19, 0)
			w.look(p)
			w.at(10, 2, 0)
			w.weather(p) // today's plan; then nobody comes to look
			w.at(10, c.hour, 0)
			if c.replan {
				w.weather(p)
			}
			w.look(p)
			var a alerts.Delivery
			for _, d := range w.alerts(p) {
				if d.Kind == notify.Morning {
					a = d
				}
				if d.Kind == notify.Change {
					t.Errorf("told of a change: %s", d.Message.Subject)
				}
			}
			if a.State != c.state || (c.state == alerts.DeliveryFailed && a.Reason.Data.Code != alerts.DeliveryMissed) {
				t.Errorf("%s: %s, told %q", a.State, a.Reason, w.mail.Subjects())
			}
		})
	}
}

// The same holds for a word that was raised in time and could not be sent.
func TestAMorningsWordThatIsSentLate(t *testing.T) {
	t.Parallel()
	for hour, state := range map[int]alerts.DeliveryState{13: alerts.DeliverySent, 15: alerts.DeliveryFailed} {
		w, p := newAlerted(t)
		w.at(9, 19, 0)
		w.look(p)
		w.mail.Set(fault.New(fault.Unavailable, "down"))
		w.at(10, 4, 30)
		w.weather(p)
		w.look(p)
		w.mail.Set(nil)
		w.at(10, hour, 0)
		for _, d := range w.alerts(p) {
			if d.Kind == notify.Morning {
				if err := w.alerting.Deliver(context.Background(), w.account, d.Key); err != nil {
					t.Fatal(err)
				}
			}
		}
		if a := w.alerts(p)[0]; a.Kind != notify.Morning || a.State != state {
			t.Errorf("at %d:00 the %s's word is %s: %s", hour, a.Kind, a.State, a.Reason)
		}
	}
}

// What was true in the evening must not be read after what is true now.
func TestNewerWordOvertakesWhatCouldNotBeSent(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.mail.Set(fault.New(fault.Unavailable, "down"))
	w.at(9, 19, 0)
	w.look(p)
	w.feed.Set(wet(10, 0, 24), nil)
	w.at(9, 22, 10)
	w.weather(p)
	w.mail.Set(nil)
	w.at(9, 22, 30)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 1 || !strings.HasPrefix(got[0], "Changed: don't pour Wednesday") {
		t.Errorf("told %q", got)
	}
	for _, d := range w.alerts(p) {
		if d.Kind == notify.Evening && (d.State != alerts.DeliveryFailed ||
			d.Reason.Data.Code != alerts.DeliveryOvertaken) {
			t.Errorf("the evening's word is %s: %s", d.State, d.Reason)
		}
	}
}

// Two recipients, of whom one is told and one is not yet: word to one is no
// word to the other.
func TestNewerWordToAnotherOvertakesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.recipient(p)
	w.recipient(p)
	w.weather(p)
	w.at(9, 19, 0)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 2 {
		t.Errorf("told %q", got)
	}
}

// Who was to be told of a pour, and was not, is told when it has turned.
func TestAHoldIsToldWhereTheEveningsWordFailed(t *testing.T) {
	t.Parallel()
	w, p := newAlerted(t)
	w.mail.Set(fault.New(fault.Invalid, "the mailbox is full"))
	w.at(9, 19, 0)
	w.look(p)
	w.mail.Set(nil)
	w.nightTurns(p)
}

// Who asked to be told after the evening's word knows the plan from the page.
func TestAHoldIsToldToThoseWhoCameInTheEvening(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	w.at(9, 20, 0)
	w.recipient(p)
	w.nightTurns(p)
}

// nightTurns turns the weather of Wednesday in the night, and expects that it
// is told in the morning.
func (w *world) nightTurns(p pour.Project) {
	w.t.Helper()
	w.feed.Set(wet(10, 0, 24), nil)
	for _, hour := range []int{1, 2, 3} {
		w.at(10, hour, 30)
		w.weather(p)
		w.look(p)
	}
	w.at(10, 4, 29)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 0 {
		w.t.Fatalf("woken in the night: %q", got)
	}
	w.at(10, 4, 30)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 1 || !strings.HasPrefix(got[0], "Don't pour Wednesday") {
		w.t.Errorf("told %q", got)
	}
}

// And a builder who called the day off is not told that it is off.
func TestACalledOffMorningWasNotPromised(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	w.at(9, 20, 0)
	w.recipient(p)
	tomorrow := time.Date(2026, 6, 10, 6, 0, 0, 0, lisbon(t))
	if _, err := w.Record(context.Background(), w.account, p.ID,
		pour.LogEntry{Kind: pour.EntrySkipped, At: tomorrow}); errors.Is(err, fault.Invalid) {
		w.at(10, 1, 0)
		w.record(p, pour.LogEntry{Kind: pour.EntrySkipped, At: w.clock()})
	}
	w.at(10, 4, 30)
	w.weather(p)
	w.look(p)
	if got := w.mail.Subjects(); len(got) != 0 {
		t.Errorf("told %q", got)
	}
}
