package unit

import (
	"fmt"
	"time"
)

// Date is a calendar day without a zone. A project's day is this date in the
// project's zone; it may be 23 or 25 hours long.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf returns the date that a clock in loc shows at t.
func DateOf(t time.Time, loc *time.Location) Date {
	y, m, d := t.In(loc).Date()
	return Date{y, m, d}
}

// ParseDate reads a date of the form 2006-01-02. It refuses days that do not exist.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fmt.Errorf("unit: %q is not a date of the form YYYY-MM-DD: %w", s, err)
	}
	return DateOf(t, time.UTC), nil
}

// String returns the date as 2006-01-02.
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day) }

// IsZero reports whether d is the zero Date, which is no date.
func (d Date) IsZero() bool { return d == Date{} }

// AddDays returns the date n days later (earlier when n is negative).
func (d Date) AddDays(n int) Date {
	return DateOf(time.Date(d.Year, d.Month, d.Day+n, 12, 0, 0, 0, time.UTC), time.UTC)
}

// DaysSince returns how many days d lies after e.
func (d Date) DaysSince(e Date) int {
	noon := func(x Date) time.Time { return time.Date(x.Year, x.Month, x.Day, 12, 0, 0, 0, time.UTC) }
	return int(noon(d).Sub(noon(e)) / (24 * time.Hour))
}

// Before reports whether d comes before e.
func (d Date) Before(e Date) bool { return d.DaysSince(e) < 0 }

// Weekday returns the day of the week.
func (d Date) Weekday() time.Weekday {
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC).Weekday()
}

// At returns the instant at which a clock in loc shows c on this date. A
// clock reading that a clock change skips is moved on by the change.
func (d Date) At(c Clock, loc *time.Location) time.Time {
	t := time.Date(d.Year, d.Month, d.Day, int(c)/60, int(c)%60, 0, 0, loc)
	if t.Hour()*60+t.Minute() == int(c) && t.Day() == d.Day {
		return t
	}
	// The reading is skipped: count on from before the change, which
	// time.Date does not promise.
	_, before := t.Add(-12 * time.Hour).Zone()
	return time.Date(d.Year, d.Month, d.Day, int(c)/60, int(c)%60, 0, 0,
		time.UTC).Add(-time.Duration(before) * time.Second).In(loc)
}

// MarshalText writes the date as 2006-01-02.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads a date of the form 2006-01-02.
func (d *Date) UnmarshalText(b []byte) error {
	v, err := ParseDate(string(b))
	if err == nil {
		*d = v
	}
	return err
}

// Clock is a reading of a wall clock in minutes after midnight, 0 to 1439.
type Clock int

// ParseClock reads a clock reading of the form 15:04.
func ParseClock(s string) (Clock, error) {
	t, err := time.Parse("15:04", s)
	if err != nil || len(s) != 5 {
		return 0, fmt.Errorf("unit: %q is not a clock reading of the form HH:MM", s)
	}
	return Clock(t.Hour()*60 + t.Minute()), nil
}

// String returns the reading as 15:04.
func (c Clock) String() string { return fmt.Sprintf("%02d:%02d", int(c)/60, int(c)%60) }

// MarshalText writes the reading as 15:04.
func (c Clock) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText reads a reading of the form 15:04.
func (c *Clock) UnmarshalText(b []byte) error {
	v, err := ParseClock(string(b))
	if err == nil {
		*c = v
	}
	return err
}
