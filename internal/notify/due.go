package notify

import (
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Times returns when the word about one morning is due: the evening before at
// alerts.EveningAt, and alerts.LeadMin before start on the date itself. Start
// is the planned start of the pour, or the crew's earliest start when a pour
// that was planned has become a hold. Neither falls between midnight and
// alerts.QuietUntil, but for the morning's of a start that lies in it. Clock
// readings are those of zone, whatever the clock
// change; the lead is elapsed time.
func Times(alerts pour.Alerts, date unit.Date, start time.Time, zone *time.Location) (evening, morning time.Time) {
	evening = NotQuiet(alerts, date.AddDays(-1).At(alerts.EveningAt, zone), zone)
	morning = start.Add(-time.Duration(alerts.LeadMin) * time.Minute)
	if quiet := date.At(alerts.QuietUntil, zone); morning.Before(quiet) && !start.Before(quiet) {
		morning = quiet
	}
	return evening, morning
}

// NotQuiet returns t, or, when t falls between midnight and alerts.QuietUntil
// of its date in zone, the end of that quiet time.
func NotQuiet(alerts pour.Alerts, t time.Time, zone *time.Location) time.Time {
	if quiet := unit.DateOf(t, zone).At(alerts.QuietUntil, zone); t.Before(quiet) {
		return quiet
	}
	return t
}

// Key returns the key that makes one alert one. A kind that may be sent more
// than once about one date is numbered by Nth.
func Key(project string, kind Kind, date unit.Date, recipient string) string {
	return project + "/" + string(kind) + "/" + date.String() + "/" + recipient
}

// Nth returns the kind under which the n-th word of a kind about one date is
// keyed, n from 1: a second change of one date is news, not a repeat.
func Nth(kind Kind, n int) Kind {
	if n <= 1 {
		return kind
	}
	return kind + Kind("-"+strconv.Itoa(n))
}

// MessageID returns the id that every try of the alert with this key carries.
// It says nothing of the key to whoever reads it.
func MessageID(key string) string {
	sum := sha256.Sum256([]byte(key))
	return "dryslot_" + hex.EncodeToString(sum[:16])
}
