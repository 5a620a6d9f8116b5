package app_test

import (
	"encoding/json"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// climate is what the weather of a project puts at risk: each alert of the day
// has one that brings it.
type climate int

const (
	steady  climate = iota // one day in three rains from noon on
	showery                // showers that only the short range tells of
	frosty                 // the nights freeze
	stormy                 // gusts and thunder in the afternoon
	parched                // hot, dry and windy
	fickle                 // after the evening's word each day turns from dry to wet
	warming                // by noon it is hotter than was forecast in the morning
	climates
)

// southmost is the latitude of the first project; each next one lies a tenth of a
// degree further north.
const southmost = 38.0

// climateOf is that of the cell asked for.
func climateOf(q url.Values) climate {
	lat, err := strconv.ParseFloat(q.Get("latitude"), 64)
	if err != nil {
		return steady
	}
	return climate(int(math.Round((lat-southmost)*10))) % climates
}

var crashUnits = map[string]string{"temperature_2m": "°C", "relative_humidity_2m": "%", "precipitation": "mm",
	"precipitation_probability": "%", "snowfall": "cm", "weather_code": "wmo code", "cloud_cover": "%",
	"wind_speed_10m": "m/s", "wind_gusts_10m": "m/s", "shortwave_radiation": "W/m²"}

// turned is the hour of the day before at which a fickle forecast turns: after the
// evening's word, and before anybody sleeps. warmed is the hour of the day at which a
// forecast tells of heat, once the first pads have been placed.
const (
	turned = 21
	warmed = 11
)

// at returns a variable at an instant, of steps of a length, as it is forecast at now.
func (c climate) at(name string, now, t time.Time, step time.Duration) float64 {
	plain := map[string]float64{"temperature_2m": 16, "relative_humidity_2m": 60, "cloud_cover": 40,
		"wind_speed_10m": 2, "wind_gusts_10m": 4, "shortwave_radiation": 200}
	v, afternoon := plain[name], t.Hour() >= 12 && t.Hour() < 17
	hot := c == parched || c == warming && !now.Before(t.Truncate(24*time.Hour).Add(warmed*time.Hour))
	switch {
	case c == steady && t.YearDay()%3 == 0 && t.Hour() >= 12, c == showery && afternoon && step < time.Hour,
		c == fickle && t.Hour() >= 5 && t.Truncate(24*time.Hour).Add((turned-24)*time.Hour).Before(now):
		switch name {
		case "precipitation":
			return 8 * step.Hours()
		case "precipitation_probability":
			return 80
		}
	case c == showery && name == "precipitation_probability":
		return 20
	case c == frosty && name == "temperature_2m":
		if t.Hour() < 8 || t.Hour() >= 19 {
			return -6
		}
		return 9
	case c == stormy && afternoon && name == "wind_gusts_10m":
		return 18
	case c == stormy && afternoon && name == "weather_code":
		return 95
	case hot:
		if x, ok := map[string]float64{"temperature_2m": 28, "relative_humidity_2m": 20, "wind_speed_10m": 9,
			"cloud_cover": 0, "shortwave_radiation": 400}[name]; ok {
			return x
		}
	}
	return v
}

// forecast answers as Open-Meteo does, hours or quarter hours, from the clock on,
// slowly, and with an error now and then.
func (s *site) forecast(w http.ResponseWriter, r *http.Request) {
	s.dawdle(r.Context(), 200*time.Millisecond)
	if s.chance(0.1) {
		http.Error(w, `{"error":true,"reason":"Internal error"}`, http.StatusInternalServerError)
		return
	}
	s.mu.Lock()
	s.fetches++
	s.mu.Unlock()
	q := r.URL.Query()
	now := s.now()
	block, step, steps := "hourly", time.Hour, 18*24
	first := now.Truncate(24 * time.Hour).Add(-48 * time.Hour)
	if q.Has("minutely_15") {
		block, step, steps = "minutely_15", 15*time.Minute, 52
		first = now.Truncate(step).Add(-time.Hour)
	}
	names := strings.Split(q.Get(block), ",")
	columns, units := map[string]any{}, map[string]string{"time": "iso8601"}
	var times []string
	for i := range steps {
		times = append(times, first.Add(time.Duration(i)*step).Format("2006-01-02T15:04"))
	}
	columns["time"] = times
	for _, n := range names {
		units[n] = crashUnits[n]
		var values []float64
		for i := range steps {
			values = append(values, climateOf(q).at(n, now, first.Add(time.Duration(i)*step), step))
		}
		columns[n] = values
	}
	doc := map[string]any{"latitude": json.RawMessage(q.Get("latitude")),
		"longitude": json.RawMessage(q.Get("longitude")), "utc_offset_seconds": 0, "timezone": "GMT", block: columns,
		block + "_units": units}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	_ = json.NewEncoder(w).Encode(doc) // the asker may have been killed
}
