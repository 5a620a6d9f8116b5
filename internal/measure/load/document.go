package load

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// members is how many members an ensemble's answer has beside the control run.
const members = 30

// document answers a query in the provider's form: the weather is invented, a
// smooth course for each cell with rain in some six-hour blocks, unless it is dry
// until it turns.
func document(path string, q url.Values, now time.Time, dry bool, turned time.Time) ([]byte, error) {
	lat, lon, err := placeOf(q)
	if err != nil {
		return nil, err
	}
	past, days := number(q.Get("past_days"), 0), number(q.Get("forecast_days"), 7)
	if past > 92 || days > 16 {
		return nil, fmt.Errorf("at most 92 past_days and 16 forecast_days")
	}
	first := now.UTC().Truncate(24*time.Hour).AddDate(0, 0, -past)
	hours := (past + days) * 24
	s := sky{cell: fmt.Sprintf("%.2f,%.2f", lat, lon), lat: lat, lon: lon, first: first, dry: dry, turned: turned}

	b := make([]byte, 0, 40_000)
	b = fmt.Appendf(b,
		`{"latitude":%.4f,"longitude":%.4f,"generationtime_ms":0.21,"utc_offset_seconds":0,"timezone":"GMT",
			"timezone_abbreviation":"GMT","elevation":%d.0,`, lat, lon, int(200*chance("height", s.cell)))
	variables := strings.Split(q.Get("hourly"), ",")
	names := []string{}
	for _, v := range variables {
		if _, ok := units[v]; !ok {
			return nil, fmt.Errorf("no variable %q", v)
		}
		names = append(names, v)
		for m := 1; path == "/v1/ensemble" && m <= members; m++ {
			names = append(names, fmt.Sprintf("%s_member%02d", v, m))
		}
	}
	b = append(b, `"hourly_units":{"time":"iso8601"`...)
	for _, n := range names {
		b = fmt.Appendf(b, `,%q:%q`, n, units[variableOf(n)])
	}
	b = append(b, `},"hourly":{"time":[`...)
	for h := range hours {
		if h > 0 {
			b = append(b, ',')
		}
		b = first.Add(time.Duration(h)*time.Hour).AppendFormat(b, `"2006-01-02T15:04"`)
	}
	b = append(b, ']')
	for i, n := range names {
		member := 0
		if path == "/v1/ensemble" {
			member = i % (members + 1)
		}
		b = fmt.Appendf(b, `,%q:[`, n)
		for h := range hours {
			if h > 0 {
				b = append(b, ',')
			}
			b = strconv.AppendFloat(b, s.at(variableOf(n), h, member), 'f', -1, 64)
		}
		b = append(b, ']')
	}
	return append(b, "}}"...), nil
}

var units = map[string]string{"temperature_2m": "°C", "relative_humidity_2m": "%", "precipitation": "mm",
	"precipitation_probability": "%", "snowfall": "cm", "weather_code": "wmo code", "cloud_cover": "%",
	"wind_speed_10m": "m/s", "wind_gusts_10m": "m/s", "shortwave_radiation": "W/m²"}

func variableOf(name string) string {
	if i := strings.LastIndex(name, "_member"); i > 0 {
		return name[:i]
	}
	return name
}

// sky is the invented weather of one cell.
type sky struct {
	cell     string
	lat, lon float64
	first    time.Time
	dry      bool
	turned   time.Time // from when on it rains after all; zero: it does not
}

// at returns a variable in the document's unit, as the hour that ends at h.
func (s *sky) at(variable string, h, member int) float64 {
	t := s.first.Add(time.Duration(h) * time.Hour)
	sun := math.Max(0, math.Sin((float64(t.Hour())+s.lon/15-6)/12*math.Pi))
	wet := s.chance(t)
	raining := chance("rain", s.cell, strconv.FormatInt(t.Unix()/3600, 10), strconv.Itoa(member)) < wet
	if since := t.Sub(s.turned); s.dry && !s.turned.IsZero() && since > 0 && since <= turnFor {
		switch variable {
		case "precipitation":
			return turnMMH
		case "precipitation_probability":
			return 100
		}
	}
	tenth := func(v float64) float64 { return math.Round(v*10) / 10 }
	switch variable {
	case "temperature_2m":
		return tenth(22 - math.Abs(s.lat-40)*0.4 + 7*sun - 4*wet + float64(member%5-2)*0.4)
	case "relative_humidity_2m":
		return math.Round(55 + 35*wet + 10*(1-sun))
	case "precipitation":
		if !raining {
			return 0
		}
		return tenth(0.2 + 4*wet*chance("mm", s.cell, strconv.FormatInt(t.Unix(), 10)))
	case "precipitation_probability":
		return math.Round(100 * wet)
	case "weather_code":
		if raining {
			return 61
		}
		return 2
	case "cloud_cover":
		return math.Round(20 + 75*wet)
	case "wind_speed_10m":
		return tenth(2 + 3*sun + 4*wet)
	case "wind_gusts_10m":
		return tenth(5 + 6*sun + 8*wet)
	case "shortwave_radiation":
		return math.Round(850 * sun * (1 - 0.7*wet))
	}
	return 0
}

// chance is the chance of rain, the same for the six hours of a block.
func (s *sky) chance(t time.Time) float64 {
	if s.dry {
		return 0
	}
	block := strconv.FormatInt(t.Unix()/(6*3600), 10)
	return math.Round(math.Pow(chance("block", s.cell, block), 3)*90) / 100
}

// Cells returns n places on a grid from 44 to 56 degrees north and 1 to 25
// east, each in a cell of its own of the service's.
func Cells(n int) [][2]float64 {
	side := int(math.Ceil(math.Sqrt(float64(n))))
	out := make([][2]float64, 0, n)
	for i := range n {
		// 0.05 degrees is the side of a cell.
		lat, lon := 44+12*float64(i/side)/float64(side), 1+24*float64(i%side)/float64(side)
		out = append(out, [2]float64{math.Round(lat*20) / 20, math.Round(lon*20) / 20})
	}
	return slices.Clip(out)
}
