package notify

import (
	"strconv"
	"strings"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// The kinds of alert of the day itself; the protocol in the package's
// documentation says when each is due.
const (
	NotStarted Kind = "not_started"
	Rain       Kind = "rain"
	Stop       Kind = "stop"
	Resume     Kind = "resume"
	Ready      Kind = "ready"
	Earlier    Kind = "earlier"
	Drying     Kind = "drying"
	Gust       Kind = "gust"
	Thunder    Kind = "thunder"
	Dusk       Kind = "dusk"
	Strip      Kind = "strip"
	Damp       Kind = "damp"
	Uncover    Kind = "uncover"
)

// The rhythm of the protocol (judgement).
const (
	RepeatAfter = 3 * time.Minute  // an urgent alert that is not answered
	RepeatSlow  = 20 * time.Minute // the same, where there is an hour to act
	MostSent    = 3                // to one recipient
	RestMin     = 60 * time.Minute // that the cause does not hold before it is a new event
	LastMinutes = 15 * time.Minute // before a finishing window closes: ready is urgent
)

// Occasion is one thing to alert about, and the state of its cause.
type Occasion struct {
	Kind    Kind
	Date    unit.Date
	Of      string    // the id of the entry that began it, or the number of the event
	Holds   bool      // its cause is there
	DueAt   time.Time // not before
	UsedBy  time.Time // of no use from then on
	Closes  time.Time // of ready: when its window closes
	InStart bool      // it is about a planned start that lies in the quiet time
}

// Sendings are the messages that one recipient got about an occasion.
type Sendings struct {
	Sent     int
	LastAt   time.Time
	Answered bool // by a tap, or by an entry that does what was asked
	Passed   bool // on to the next of the crew
}

// Danger is what lets an urgent alert pass the quiet time.
type Danger struct{ SoftConcrete, Frost bool }

// Do is what is to be done about an occasion.
type Do string

// What can be done.
const (
	Send    Do = "send"
	PassOn  Do = "pass_on" // to the next of the crew
	Expire  Do = "expire"
	Wait    Do = "wait"
	Nothing Do = "nothing"
)

// Decision is what to do, and until when to wait before asking again; the zero
// time: only when something changes.
type Decision struct {
	Do   Do
	At   time.Time
	Loud bool // urgent: loud where the channel can be
}

// Urgent reports whether an occasion is urgent at now.
func (o Occasion) Urgent(now time.Time) bool {
	switch o.Kind {
	case Rain, Stop, Resume, Drying, Gust, Thunder, Dusk:
		return true
	case Ready:
		return !o.Closes.IsZero() && !now.Before(o.Closes.Add(-LastMinutes))
	}
	return false
}

// Decide says what to do about an occasion towards one recipient. It has no
// memory: the same occasion, sendings and time get the same answer.
func Decide(o Occasion, told Sendings, danger Danger, alerts pour.Alerts, zone *time.Location, now time.Time) Decision {
	urgent := o.Urgent(now)
	gone := !o.Holds || !o.UsedBy.IsZero() && !now.Before(o.UsedBy)
	switch {
	case gone && told.Sent == 0:
		return Decision{Do: Expire}
	case gone || told.Answered || told.Passed:
		return Decision{Do: Nothing}
	}
	due := o.DueAt
	if told.Sent > 0 {
		if !urgent {
			return Decision{Do: Nothing, At: o.turnsUrgent(now)}
		}
		due = told.LastAt.Add(o.repeatAfter())
	}
	if due.Before(now) {
		due = now
	}
	if passes := urgent && (danger.SoftConcrete || danger.Frost) || o.InStart; !passes {
		due = NotQuiet(alerts, due, zone)
	}
	switch {
	case !o.UsedBy.IsZero() && !due.Before(o.UsedBy):
		return Decision{Do: Wait, At: o.UsedBy} // it will have lost its use by then
	case due.After(now):
		return Decision{Do: Wait, At: due}
	case told.Sent >= MostSent:
		return Decision{Do: PassOn, Loud: true}
	}
	return Decision{Do: Send, Loud: urgent}
}

// repeatAfter is when an urgent alert that is not answered is sent again: soon
// where minutes count.
func (o Occasion) repeatAfter() time.Duration {
	switch o.Kind {
	case Resume, Dusk, Gust, Drying:
		return RepeatSlow
	}
	return RepeatAfter
}

// turnsUrgent is when a quiet alert that was sent becomes urgent; the zero time:
// never.
func (o Occasion) turnsUrgent(now time.Time) time.Time {
	if o.Kind != Ready || o.Closes.IsZero() {
		return time.Time{}
	}
	if at := o.Closes.Add(-LastMinutes); at.After(now) {
		return at
	}
	return time.Time{}
}

// Number returns the number of the event that a cause belongs to which holds
// now: a new one after RestMin in which it did not hold. The last number is 0
// before the first.
func Number(last int, heldUntil, now time.Time) int {
	if last == 0 || now.Sub(heldUntil) >= RestMin {
		return last + 1
	}
	return last
}

// OccasionKey returns the key that makes one alert one.
func OccasionKey(project string, o Occasion, recipient string) string {
	return Key(project, o.Kind, o.Date, recipient) + "/" + o.Of
}

// Name is the occasion's name within its date and project.
func (o Occasion) Name() string { return string(o.Kind) + "/" + o.Of }

// Stands reports whether the cause of an occasion with that name still holds.
func Stands(name string, states map[Kind]CauseState) bool {
	kind, of, _ := strings.Cut(name, "/")
	s, ok := states[Kind(kind)]
	return ok && s.Holds && Event(s.Number) == of
}

// Event is the occasion's name of a numbered event.
func Event(number int) string { return strconv.Itoa(number) }
