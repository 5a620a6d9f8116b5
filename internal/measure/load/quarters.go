package load

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// The rain that Turn brings: its rate in mm/h, and for how long.
const (
	turnMMH = 8
	turnFor = 2 * time.Hour
)

// placeOf reads the place that is asked for, in degrees.
func placeOf(q url.Values) (lat, lon float64, err error) {
	if lat, err = strconv.ParseFloat(q.Get("latitude"), 64); err != nil {
		return 0, 0, fmt.Errorf("latitude must be a number")
	}
	if lon, err = strconv.ParseFloat(q.Get("longitude"), 64); err != nil {
		return 0, 0, fmt.Errorf("longitude must be a number")
	}
	return lat, lon, nil
}

// quarterHours answers a query for minutely_15: dry, but for the rain that a turn
// brings.
func quarterHours(q url.Values, now, turned time.Time) ([]byte, error) {
	lat, lon, err := placeOf(q)
	if err != nil {
		return nil, err
	}
	const step = 15 * time.Minute
	past, ahead := number(q.Get("past_minutely_15"), 0), number(q.Get("forecast_minutely_15"), 96)
	if past > 4*24*92 || ahead > 4*24*16 {
		return nil, fmt.Errorf("at most 92 days past and 16 ahead")
	}
	first := now.UTC().Truncate(step).Add(-time.Duration(past) * step)
	s := sky{cell: fmt.Sprintf("%.2f,%.2f", lat, lon), lat: lat, lon: lon, first: first, dry: true}
	b := fmt.Appendf(nil, `{"latitude":%.4f,"longitude":%.4f,"utc_offset_seconds":0,"timezone":"GMT",`, lat, lon)
	b = append(b, `"minutely_15_units":{"time":"iso8601"`...)
	names := strings.Split(q.Get("minutely_15"), ",")
	for _, n := range names {
		if _, ok := units[n]; !ok {
			return nil, fmt.Errorf("no variable %q", n)
		}
		b = fmt.Appendf(b, `,%q:%q`, n, units[n])
	}
	b = append(b, `},"minutely_15":{"time":[`...)
	for i := range past + ahead {
		if i > 0 {
			b = append(b, ',')
		}
		b = first.Add(time.Duration(i)*step).AppendFormat(b, `"2006-01-02T15:04"`)
	}
	b = append(b, ']')
	for _, n := range names {
		b = fmt.Appendf(b, `,%q:[`, n)
		for i := range past + ahead {
			if i > 0 {
				b = append(b, ',')
			}
			at := first.Add(time.Duration(i) * step)
			since := at.Sub(turned)
			wet := !turned.IsZero() && since > 0 && since <= turnFor
			v := s.at(n, i/4, 0)
			switch {
			case wet && n == "precipitation":
				v = turnMMH / 4.0
			case wet && n == "precipitation_probability":
				v = 100
			}
			b = strconv.AppendFloat(b, v, 'f', -1, 64)
		}
		b = append(b, ']')
	}
	return append(b, "}}"...), nil
}
