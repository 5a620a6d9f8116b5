package postgres

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// document is a forecast as it is stored: one column a variable, under the
// variable's public name, so that a later version with other variables still
// reads it. A variable that is wholly unknown has no column.
type document struct {
	Latitude  float64            `json:"latitude"`
	Longitude float64            `json:"longitude"`
	Sources   []documentSource   `json:"sources"`
	WetOverMM float64            `json:"wet_over_mm"`
	WetPeriod time.Duration      `json:"wet_period_ns"`
	Starts    []int64            `json:"starts"` // seconds since 1970, UTC
	Values    map[string]column  `json:"values"`
	From      map[string][]uint8 `json:"from"` // index into Sources; absent: all from the first
	Members   []documentMember   `json:"members,omitempty"`
	NextFetch *time.Time         `json:"next_fetch,omitempty"`
	Validator string             `json:"validator,omitempty"`
}

type documentSource struct {
	Feed        string     `json:"feed"`
	IssuedAt    *time.Time `json:"issued_at"`
	FetchedAt   time.Time  `json:"fetched_at"`
	Attribution string     `json:"attribution"`
	Past        bool       `json:"past,omitempty"`
	LeftOut     []string   `json:"left_out,omitempty"`
}

type documentMember struct {
	Name   string            `json:"name"`
	Values map[string]column `json:"values"`
}

// column is one value an hour; NaN is unknown and stored as null.
type column []float64

// MarshalJSON writes numbers so that they read back exactly, and null for the
// unknown.
func (c column) MarshalJSON() ([]byte, error) {
	b := make([]byte, 0, 6*len(c)+2)
	b = append(b, '[')
	for i, v := range c {
		if i > 0 {
			b = append(b, ',')
		}
		switch {
		case math.IsNaN(v):
			b = append(b, "null"...)
		case math.IsInf(v, 0):
			return nil, errors.New("an infinite value")
		default:
			b = strconv.AppendFloat(b, v, 'g', -1, 64)
		}
	}
	return append(b, ']'), nil
}

// UnmarshalJSON reads what MarshalJSON wrote. encoding/json has checked the
// syntax, so that only the shape is left to check.
func (c *column) UnmarshalJSON(b []byte) error {
	b = bytes.TrimSpace(b)
	if len(b) < 2 || b[0] != '[' {
		return fmt.Errorf("a column is an array, not %.20s", b)
	}
	*c = make(column, 0, bytes.Count(b, []byte{','})+1)
	if b = bytes.TrimSpace(b[1 : len(b)-1]); len(b) == 0 {
		return nil
	}
	for part := range bytes.SplitSeq(b, []byte{','}) {
		part = bytes.TrimSpace(part)
		if string(part) == "null" {
			*c = append(*c, math.NaN())
			continue
		}
		v, err := strconv.ParseFloat(string(part), 64)
		if err != nil {
			return fmt.Errorf("a column's value: %w", err)
		}
		*c = append(*c, v)
	}
	return nil
}

func encodeForecast(f *forecast.Forecast) ([]byte, error) {
	d := document{
		Latitude: f.Cell.Latitude, Longitude: f.Cell.Longitude,
		WetOverMM: f.Wet.OverMM, WetPeriod: f.Wet.Period,
		Values: map[string]column{}, From: map[string][]uint8{},
		NextFetch: maybe(f.NextFetch), Validator: f.Validator,
	}
	for _, s := range f.Sources {
		d.Sources = append(d.Sources, documentSource(s))
	}
	for _, h := range f.Hours {
		if h.Start.Nanosecond() != 0 {
			return nil, fmt.Errorf("the hour %s is no whole second", h.Start)
		}
		d.Starts = append(d.Starts, h.Start.Unix())
	}
	for v := range forecast.NumVariables {
		values, from := make(column, len(f.Hours)), make([]uint8, len(f.Hours))
		for i := range f.Hours {
			values[i], from[i] = f.Hours[i].Get(v).Float(), f.Hours[i].From[v]
			if from[i] != 0 && int(from[i]) >= len(f.Sources) {
				return nil, fmt.Errorf("%s of %s comes from source %d of %d", forecast.Names[v], f.Hours[i].Start,
					from[i], len(f.Sources))
			}
		}
		if slices.ContainsFunc(values, func(x float64) bool { return !math.IsNaN(x) }) {
			d.Values[forecast.Names[v]] = values
		}
		if slices.ContainsFunc(from, func(x uint8) bool { return x != 0 }) {
			d.From[forecast.Names[v]] = from
		}
	}
	for _, m := range f.Members {
		dm := documentMember{Name: m.Name, Values: map[string]column{}}
		for v, s := range m.Values {
			if s != nil {
				dm.Values[forecast.Names[v]] = column(s)
			}
		}
		d.Members = append(d.Members, dm)
	}
	return pack(d)
}

func decodeForecast(b []byte) (forecast.Forecast, error) {
	d, err := unpack[document](b)
	if err != nil {
		return forecast.Forecast{}, err
	}
	f := forecast.Forecast{
		Cell:  place.Cell{Latitude: d.Latitude, Longitude: d.Longitude},
		Wet:   forecast.WetEvent{OverMM: d.WetOverMM, Period: d.WetPeriod},
		Hours: make([]forecast.Hour, len(d.Starts)), NextFetch: instant(d.NextFetch), Validator: d.Validator,
	}
	for _, s := range d.Sources {
		f.Sources = append(f.Sources, forecast.Source(s))
	}
	for i, start := range d.Starts {
		f.Hours[i].Start = time.Unix(start, 0).UTC()
	}
	for v, name := range forecast.Names {
		values, from := d.Values[name], d.From[name]
		if (values != nil && len(values) != len(f.Hours)) || (from != nil && len(from) != len(f.Hours)) {
			return forecast.Forecast{}, fmt.Errorf("%s has %d values and %d sources for %d hours", name, len(values),
				len(from), len(f.Hours))
		}
		for i := range values {
			f.Hours[i].Values[v] = unit.Some(values[i])
		}
		for i := range from {
			f.Hours[i].From[v] = from[i]
		}
	}
	for _, dm := range d.Members {
		m := forecast.Member{Name: dm.Name}
		for v, name := range forecast.Names {
			if s := dm.Values[name]; s != nil {
				m.Values[v] = forecast.Series(s)
			}
		}
		f.Members = append(f.Members, m)
	}
	return f, nil
}

// pack returns the compressed JSON of a value. Speed counts more than the last
// tenth of the size: every forecast and every plan goes through here.
func pack(v any) ([]byte, error) {
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	if err != nil {
		return nil, err
	}
	if err := json.NewEncoder(w).Encode(v); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// unpack returns what pack stored.
func unpack[T any](b []byte) (v T, err error) {
	r, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		return v, err
	}
	if err := json.NewDecoder(r).Decode(&v); err != nil {
		return v, err
	}
	// Read to the end, where the checksum stands.
	if _, err := io.Copy(io.Discard, r); err != nil {
		return v, err
	}
	return v, r.Close()
}
