package notify

import (
	"fmt"
	"strings"
	"time"

	"dryslot/internal/planner"
	"dryslot/internal/unit"
)

// Reader is who a sentence is for.
type Reader struct {
	Zone  *time.Location
	US    bool      // US customary units instead of metric
	Today unit.Date // in Zone
}

// Headline says what to do on a morning, in a sentence or three: the verdict,
// which pads, when to start, and when to have the last one placed. Pages and
// alerts open with it.
func Headline(m planner.Morning, r Reader) string {
	day := r.Day(m.Date)
	if m.Score == nil {
		return "No word on " + day + " yet: the first forecast has not come in."
	}
	if m.Verdict == planner.VerdictHold {
		return "Don't pour " + day + "."
	}
	if len(m.Pads) == 0 {
		return "Nothing to pour " + day + ": no pad is due that morning."
	}
	names := make([]string, len(m.Pads))
	for i, p := range m.Pads {
		names[i] = p.Pad
	}
	b := &strings.Builder{}
	fmt.Fprintf(b, "Pour %s %s %s", Count(len(names)), plural(len(names), "pad", "pads"), day)
	if m.Verdict == planner.VerdictCare {
		b.WriteString(", with care")
	}
	b.WriteString(": " + strings.Join(names, ", ") + ".")
	if w := m.Window; w != nil {
		if w.LatestStart.After(w.Start) {
			fmt.Fprintf(b, " Start between %s and %s", r.Clock(w.Start), r.Clock(w.LatestStart))
		} else {
			fmt.Fprintf(b, " Start at %s", r.Clock(w.Start))
		}
		last := m.Pads[len(m.Pads)-1]
		fmt.Fprintf(b, "; starting at %s, have the last one placed by %s and finished by %s.", r.Clock(m.Pads[0].PlaceStart.Add(-setUp(m))), r.Clock(last.PlaceEnd), r.Clock(last.FinishEnd))
	}
	return b.String()
}

// setUp is the time between the start and the first pad's placing.
func setUp(m planner.Morning) time.Duration {
	if m.Window == nil || len(m.Pads) == 0 {
		return 0
	}
	return max(0, m.Pads[0].PlaceStart.Sub(m.Window.Start))
}

// Day names a date as a builder would: today, tomorrow, or the weekday; always
// with the weekday and the date.
func (r Reader) Day(d unit.Date) string {
	full := d.Weekday().String() + " " + r.DayMonth(d)
	switch d.DaysSince(r.Today) {
	case 0:
		return "today, " + full
	case 1:
		return "tomorrow, " + full
	}
	return "on " + full
}

// DayMonth writes a date without its year, in the order the reader's units suggest.
func (r Reader) DayMonth(d unit.Date) string {
	if r.US {
		return fmt.Sprintf("%s %d", d.Month, d.Day)
	}
	return fmt.Sprintf("%d %s", d.Day, d.Month)
}

// Clock writes an instant as a wall clock in the project's zone shows it.
func (r Reader) Clock(t time.Time) string { return t.In(r.Zone).Format("15:04") }

// Moment writes an instant with its weekday.
func (r Reader) Moment(t time.Time) string { return t.In(r.Zone).Format("Mon 15:04") }

// Temperature writes a temperature in the reader's units.
func (r Reader) Temperature(c float64) string {
	if r.US {
		return fmt.Sprintf("%.0f °F", unit.Celsius(c).Fahrenheit())
	}
	return fmt.Sprintf("%.0f °C", c)
}

// Count writes a small number as a word.
func Count(n int) string {
	words := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}
	if n >= 0 && n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
