package nws

import (
	"errors"
	"strings"
	"time"
)

// interval is a span of whole hours.
type interval struct {
	start time.Time
	hours int
}

func (i interval) end() time.Time { return i.start.Add(time.Duration(i.hours) * time.Hour) }

var errInterval = errors.New("must be a whole hour since 1970 and a duration in whole hours, " +
	"such as 2022-02-03T21:00:00+00:00/PT3H")

// parseInterval reads a start and a duration (ISO 8601, section 4.4.4).
func parseInterval(s string) (interval, error) {
	at, length, ok := strings.Cut(s, "/")
	if !ok {
		return interval{}, errInterval
	}
	t, err := time.Parse(time.RFC3339, at)
	if err != nil || !t.Equal(t.Truncate(time.Hour)) || t.Year() < 1970 {
		return interval{}, errInterval
	}
	hours, ok := parseHours(length)
	if !ok {
		return interval{}, errInterval
	}
	return interval{t.UTC(), hours}, nil
}

// parseHours reads a duration of weeks, days and hours, in that order; more
// than 99 of any is refused, as are minutes and seconds that aren't zero.
func parseHours(s string) (hours int, ok bool) {
	s, ok = strings.CutPrefix(s, "P")
	if !ok || s == "" {
		return 0, false
	}
	date, clock, timed := strings.Cut(s, "T")
	if timed && clock == "" {
		return 0, false
	}
	for _, part := range []struct {
		text  *string
		unit  string
		hours int
	}{{&date, "W", 7 * 24}, {&date, "D", 24}, {&clock, "H", 1}, {&clock, "M", 0}, {&clock, "S", 0}} {
		n, rest, found := leading(*part.text, part.unit)
		if !found {
			continue
		}
		if part.hours == 0 && n != 0 {
			return 0, false
		}
		hours += n * part.hours
		*part.text = rest
	}
	return hours, hours > 0 && date == "" && clock == ""
}

// leading cuts a number of one or two digits and its unit off the front.
func leading(s, unit string) (n int, rest string, found bool) {
	digits := 0
	for digits < len(s) && digits < 2 && s[digits] >= '0' && s[digits] <= '9' {
		n = n*10 + int(s[digits]-'0')
		digits++
	}
	rest, found = strings.CutPrefix(s[digits:], unit)
	if digits == 0 || !found {
		return 0, s, false
	}
	return n, rest, true
}
