package notify

import (
	"fmt"
	"strings"
	"time"

	"dryslot/internal/planner/job"
	"dryslot/internal/unit"
)

// Reader is who a sentence is for.
type Reader struct {
	Zone  *time.Location
	US    bool      // US customary units instead of metric
	Today unit.Date // in Zone
}

// Headline says what to do on a morning in one sentence: the verdict and which
// pads. Pages open with it.
func Headline(m job.Morning, r Reader) string {
	day := r.Day(m.Date)
	if m.Score == nil {
		return "No word on " + day + " yet: the first forecast has not come in."
	}
	if m.Verdict == job.VerdictHold {
		return "Don't pour " + day + "."
	}
	if len(m.Pads) == 0 {
		return "Nothing to pour " + day + ": no pad is due that morning."
	}
	names := make([]string, len(m.Pads))
	for i, p := range m.Pads {
		names[i] = p.Pad
	}
	care := ""
	if m.Verdict == job.VerdictCare {
		care = ", with care"
	}
	return fmt.Sprintf("Pour %s %s %s%s: %s.", Count(len(names)), plural(len(names), "pad", "pads"), day, care, strings.Join(names, ", "))
}

// StartLine says when to start, and by when the last pad is placed and
// finished; empty where there is nothing to pour.
func StartLine(m job.Morning, r Reader) string {
	if m.Window == nil || len(m.Pads) == 0 || m.Verdict == job.VerdictHold {
		return ""
	}
	w, last := m.Window, m.Pads[len(m.Pads)-1]
	line := "Start at " + r.Clock(w.Start)
	if w.LatestStart.After(w.Start) {
		line = fmt.Sprintf("Start between %s and %s", r.Clock(w.Start), r.Clock(w.LatestStart))
	}
	begun := m.Pads[0].PlaceStart.Add(-setUp(m))
	return fmt.Sprintf("%s. Starting at %s, have the last one placed by %s and finished by %s.", line, r.Clock(begun), r.Clock(last.PlaceEnd), r.Clock(last.FinishEnd))
}

// setUp is the time between the start and the first pad's placing.
func setUp(m job.Morning) time.Duration {
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

// When writes an instant with its weekday, and with its date where the weekday
// alone could be taken for one of the days just ahead.
func (r Reader) When(t time.Time) string {
	d := unit.DateOf(t, r.Zone)
	if days := d.DaysSince(r.Today); days >= 0 && days < 6 {
		return r.Moment(t)
	}
	layout := "Mon 2 Jan"
	if r.US {
		layout = "Mon Jan 2"
	}
	if d.Year != r.Today.Year {
		layout += " 2006"
	}
	return t.In(r.Zone).Format(layout + ", 15:04")
}

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
