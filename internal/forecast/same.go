package forecast

import (
	"math"
	"time"
)

// SameWeather reports whether a forecast says of every hour what an earlier one
// of the cell says, as far as a plan reads it: when it was fetched does not
// count. The earlier one may reach further back.
func (f *Forecast) SameWeather(earlier *Forecast) bool {
	n, skipped := len(f.Hours), len(earlier.Hours)-len(f.Hours)
	if n == 0 || skipped < 0 || len(f.Sources) == 0 || len(earlier.Sources) == 0 || f.Cell != earlier.Cell ||
		f.Wet != earlier.Wet || len(f.Members) != len(earlier.Members) || !sameIssue(f.Sources[0].IssuedAt,
		earlier.Sources[0].IssuedAt) {
		return false
	}
	for i := range f.Hours {
		if !f.sameHour(&f.Hours[i], earlier, &earlier.Hours[skipped+i]) {
			return false
		}
	}
	for i := range f.Members {
		is, was := &f.Members[i], &earlier.Members[i]
		if is.Name != was.Name {
			return false
		}
		for v := range is.Values {
			if !sameSeries(is.Values[v], was.Values[v], skipped) {
				return false
			}
		}
	}
	return true
}

func sameIssue(a, b *time.Time) bool {
	return a == nil && b == nil || a != nil && b != nil && a.Equal(*b)
}

func (f *Forecast) sameHour(is *Hour, earlier *Forecast, was *Hour) bool {
	if !is.Start.Equal(was.Start) || is.ChanceHours != was.ChanceHours {
		return false
	}
	for v := range NumVariables {
		a, b := is.Values[v], was.Values[v]
		if a.Known != b.Known || a.Known && (a.V != b.V || !sameSource(f.Sources[is.From[v]],
			earlier.Sources[was.From[v]])) {
			return false
		}
	}
	return true
}

// sameSource reports whether two sources are shown and credited alike.
func sameSource(a, b Source) bool {
	return a.Feed == b.Feed && a.Attribution == b.Attribution && a.Past == b.Past
}

// sameSeries compares a member's values with those of before from an hour on.
func sameSeries(is, was Series, skipped int) bool {
	if is == nil || was == nil {
		return is == nil && was == nil
	}
	if len(was)-skipped != len(is) {
		return false
	}
	for i := range is {
		if a, b := is[i], was[skipped+i]; a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
			return false
		}
	}
	return true
}
