package say

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/unit"
)

// Clock words an instant as a clock in the reader's zone shows it.
func (r Reader) Clock(t time.Time) string {
	t = r.in(t)
	return r.reading(unit.Clock(t.Hour()*60 + t.Minute()))
}

// Hour words a full hour in little room: 6 am, or 06:00; where short, 6am or 06.
func (r Reader) Hour(t time.Time, short bool) string {
	said := r.Clock(t)
	switch {
	case r.Clock12 && short:
		return strings.NewReplacer(":00", "", nbsp, "", ".", "").Replace(said)
	case r.Clock12:
		return strings.Replace(said, ":00", "", 1)
	case short:
		return strings.TrimSuffix(said, ":00")
	}
	return said
}

func (r Reader) in(t time.Time) time.Time {
	if r.Zone == nil {
		return t
	}
	return t.In(r.Zone)
}

func (r Reader) reading(c unit.Clock) string {
	if !r.Clock12 {
		return c.String()
	}
	f := r.formats()
	h, half := int(c)/60, f.AM
	if h >= 12 {
		h, half = h-12, f.PM
	}
	if h == 0 {
		h = 12
	}
	return fmt.Sprintf("%d:%02d%s%s", h, int(c)%60, nbsp, half)
}

// Date words a date in short: Sat, Nov 28.
func (r Reader) Date(d unit.Date) string { return r.date(d, "") }

// Day words a date at length, called today or tomorrow where it is.
func (r Reader) Day(d unit.Date) string { return r.date(d, "day") }

// Moment words an instant by weekday and clock, with the date where the
// weekday alone could be taken for one of the days just ahead.
func (r Reader) Moment(t time.Time) string { return r.instant(t, "") }

func (r Reader) date(d unit.Date, form string) string {
	f := r.formats()
	weekday, month, pattern := f.WeekdaysShort[d.Weekday()], f.MonthsShort[d.Month-1], f.DateShort
	switch form {
	case "weekday":
		return f.Weekdays[d.Weekday()]
	case "long", "day":
		weekday, month, pattern = f.Weekdays[d.Weekday()], f.Months[d.Month-1], f.DateLong
	}
	out := put(pattern, "weekday", weekday, "day", strconv.Itoa(d.Day), "month", month)
	if r.Today.IsZero() || d.Year != r.Today.Year {
		out = put(f.DateYear, "date", out, "year", strconv.Itoa(d.Year))
	}
	if (form == "day" || form == "near") && !r.Today.IsZero() {
		switch d.DaysSince(r.Today) {
		case 0:
			return put(f.Today, "date", out)
		case 1:
			return put(f.Tomorrow, "date", out)
		}
	}
	return out
}

func (r Reader) instant(t time.Time, form string) string {
	if t.IsZero() {
		return r.formats().Beyond
	}
	if r.Zone == nil {
		return t.Format(time.RFC3339)
	}
	f, d := r.formats(), unit.DateOf(t, r.Zone)
	switch form {
	case "clock":
		return r.Clock(t)
	case "weekday", "long", "day", "near", "date":
		return r.date(d, strings.TrimSuffix(form, "date"))
	}
	if days := d.DaysSince(r.Today); !r.Today.IsZero() && days >= 0 && days < 6 {
		return put(f.Moment, "weekday", f.WeekdaysShort[d.Weekday()], "clock", r.Clock(t))
	}
	return put(f.DatedMoment, "date", r.date(d, ""), "clock", r.Clock(t))
}

// ClockOf words a reading of a clock: 7:05 am or 07:05.
func (r Reader) ClockOf(c unit.Clock) string { return r.reading(c) }
