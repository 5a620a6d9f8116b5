package daylight

import (
	"strconv"
	"time"

	"github.com/kelvins/sunrisesunset"

	"dryslot/internal/fault"
	"dryslot/internal/unit"
)

// agree is how far the library's answer may lie from the iteration of our own
// before it is taken to have missed: the two use the same series, and differ
// by its rounding to whole seconds unless it met no event.
const agree = 20 * time.Second

// Of returns the light of a date at a place, in the zone given. lat is -90 to
// 90 and lon -180 to 180 degrees, north and east positive; the year is 1900 to
// 2199. Against the US Naval Observatory's times it is good to a minute up to
// 65 degrees, and to 10 minutes beyond 72 (NOAA). The horizon is taken as
// flat and the place as at sea level.
//
// The events are those around the sun's highest stand nearest to noon on the
// zone's clock, so that a sunset after midnight still belongs to the day
// that it ends. One call takes tens of milliseconds: keep the answer.
func Of(date unit.Date, lat, lon float64, zone *time.Location) (Day, error) {
	if err := check(date, lat, lon, zone); err != nil {
		return Day{}, err
	}
	d, top := compute(date, lat, lon, zone)
	if d.Case != Ordinary {
		return d, nil // the library answers 00:00 or 23:45 here, without an error
	}
	rise, set, err := library(top, lat, lon)
	if err != nil {
		return Day{}, fault.Wrap(fault.Invalid, "no sunrise and sunset for "+date.String(), err)
	}
	d.Sunrise = prefer(rise, d.Sunrise).In(zone)
	d.Sunset = prefer(set, d.Sunset).In(zone)
	return d, nil
}

// Quick returns the same in microseconds, without the library: by the iteration
// of our own, which the library's answer is held against anyway, and which is
// good to a minute by itself. The two differ by less than 20 s. It is for
// planning many projects; errors are those of Of.
func Quick(date unit.Date, lat, lon float64, zone *time.Location) (Day, error) {
	if err := check(date, lat, lon, zone); err != nil {
		return Day{}, err
	}
	d, _ := compute(date, lat, lon, zone)
	return d, nil
}

// Light returns from when until when there is civil light on the date: first
// to last light, with midnight of the zone's clock standing in where light
// lasts through the night. ok is false when there is none.
func (d Day) Light(zone *time.Location) (from, until time.Time, ok bool) {
	if d.Case == NeverUp {
		return time.Time{}, time.Time{}, false
	}
	from, until = d.FirstLight, d.LastLight
	if from.IsZero() {
		from = d.Date.At(0, zone)
	}
	if until.IsZero() {
		until = d.Date.AddDays(1).At(0, zone)
	}
	return from, until, true
}

// compute returns the day by our own iteration, and the sun's upper transit.
func compute(date unit.Date, lat, lon float64, zone *time.Location) (Day, time.Time) {
	top := noon(date.At(12*60, zone), lon)
	before, after := top.Add(-12*time.Hour), top.Add(12*time.Hour)
	d := Day{
		Date:       date,
		Case:       Ordinary,
		FirstLight: crossing(before, top, lat, lon, civilHeight),
		Sunrise:    crossing(before, top, lat, lon, riseHeight),
		Sunset:     crossing(top, after, lat, lon, riseHeight),
		LastLight:  crossing(top, after, lat, lon, civilHeight),
	}
	high := SunHeight(top, lat, lon)
	switch {
	case high <= civilHeight:
		d.Case = NeverUp
	case high <= riseHeight:
		d.Case = CivilOnly
	case d.Sunrise.IsZero() || d.Sunset.IsZero():
		d.Case = AlwaysUp
	}
	d.AllCivil = high > civilHeight && (d.FirstLight.IsZero() || d.LastLight.IsZero())
	for _, t := range []*time.Time{&d.FirstLight, &d.Sunrise, &d.Sunset, &d.LastLight} {
		if !t.IsZero() {
			*t = t.In(zone)
		}
	}
	return d, top
}

// library asks kelvins/sunrisesunset for the events around an upper transit.
// It looks for them within one day of the offset that it is given, so it is
// given the longitude's own mean time, in which the transit lies near 12:00.
func library(top time.Time, lat, lon float64) (rise, set time.Time, err error) {
	hours := lon / 15
	offset := time.Duration(hours * float64(time.Hour))
	y, m, day := top.UTC().Add(offset).Date()
	rise, set, err = sunrisesunset.GetSunriseSunset(lat, lon, hours, time.Date(y, m, day, 0, 0, 0, 0, time.UTC))
	return rise.Add(-offset).Round(time.Second), set.Add(-offset).Round(time.Second), err
}

// prefer returns the library's instant unless it missed the event.
func prefer(lib, own time.Time) time.Time {
	if lib.Sub(own).Abs() > agree {
		return own
	}
	return lib
}

func check(date unit.Date, lat, lon float64, zone *time.Location) error {
	var bad fault.List
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	if !(lat >= -90 && lat <= 90) {
		bad.Add("latitude", number(lat), "must be between -90 and 90 degrees, north positive")
	}
	if !(lon >= -180 && lon <= 180) {
		bad.Add("longitude", number(lon), "must be between -180 and 180 degrees, east positive")
	}
	if date.Year < 1900 || date.Year > 2199 {
		bad.Add("date", date.String(), "must lie in the years 1900 to 2199")
	}
	if zone == nil {
		bad.Add("time_zone", "", "must be given")
	}
	return bad.Err("the light of this day can't be computed")
}
