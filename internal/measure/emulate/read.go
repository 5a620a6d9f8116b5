package emulate

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/unit"
)

// Place is where a station lies.
type Place struct {
	Latitude, Longitude, ElevM float64
}

// airports are the three of the New York records, which carry no coordinates
// (FAA airport reference points, from memory, to 0.01 degree).
var airports = map[string]Place{
	"EWR": {40.69, -74.17, 5}, "JFK": {40.64, -73.78, 4}, "LGA": {40.78, -73.87, 6},
}

// Read reads hourly records in either of two forms, told apart by their
// header:
//
//	origin, hour (local), temp (F), humid (%), wind_speed (mph), precip (in), time_hour (UTC)
//	station, year, month, day, hour (UTC), rain (mm), temp (C), rhum (%), wdsp (knots)
//
// Empty and NA are unknown. A value outside what can be is unknown and
// counted; a row that can't be read is an error naming it. places gives the
// coordinates by station; a station that it lacks, and that is none of the
// three airports known here, is not Placed.
func Read(hourly io.Reader, places map[string]Place) ([]*Record, error) {
	in := csv.NewReader(hourly)
	in.ReuseRecord = true
	head, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("emulate: header: %w", err)
	}
	parse, err := formOf(head)
	if err != nil {
		return nil, err
	}
	rows := map[string][]reading{}
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("emulate: %w", err)
		}
		name, x, err := parse(row)
		if err != nil {
			line, _ := in.FieldPos(0)
			return nil, fmt.Errorf("emulate: line %d: %w", line, err)
		}
		name = strings.Clone(name)
		rows[name] = append(rows[name], x)
	}
	if len(rows) == 0 {
		return nil, errors.New("emulate: no rows")
	}
	out, err := build(rows)
	if err != nil {
		return nil, err
	}
	for _, r := range out {
		p, ok := places[r.Station]
		if !ok {
			p, ok = airports[r.Station]
		}
		r.Latitude, r.Longitude, r.ElevM, r.Placed = p.Latitude, p.Longitude, p.ElevM, ok
	}
	return out, nil
}

type parser func(row []string) (string, reading, error)

func formOf(head []string) (parser, error) {
	c, missing := columns(head, "origin", "temp", "humid", "wind_speed", "precip", "time_hour", "hour")
	if missing == nil {
		return func(row []string) (string, reading, error) { return customary(row, c) }, nil
	}
	c, missing = columns(head, "station", "year", "month", "day", "hour", "rain", "temp", "rhum", "wdsp")
	if missing == nil {
		return func(row []string) (string, reading, error) { return metric(row, c) }, nil
	}
	return nil, fmt.Errorf(
		"emulate: a header of neither form: %s lacks %s",
		strings.Join(head, ","),
		strings.Join(missing, ", "),
	)
}

func columns(head []string, names ...string) (at []int, missing []string) {
	for _, name := range names {
		i := slices.Index(head, name)
		if i < 0 {
			missing = append(missing, name)
		}
		at = append(at, i)
	}
	return at, missing
}

func customary(row []string, c []int) (string, reading, error) {
	var e error
	num := func(i int) float64 { return number(row[c[i]], &e) }
	x := reading{
		airC:     float64(unit.FromFahrenheit(num(1))),
		humidity: num(2),
		wind:     num(3) * unit.MSPerMPH,
		rain:     num(4) * 25.4,
	}
	at, err := time.Parse(time.RFC3339, row[c[5]])
	if err == nil {
		err = e
	}
	x.at = at.UTC().Truncate(time.Hour)
	x.ahead = math.Mod(num(6)-float64(x.at.Hour())+36, 24) - 12
	return row[c[0]], x, err
}

func metric(row []string, c []int) (string, reading, error) {
	var e error
	num := func(i int) float64 { return number(row[c[i]], &e) }
	y, mo, d, h := num(1), num(2), num(3), num(4)
	if e == nil && !(mo >= 1 && mo <= 12 && d >= 1 && d <= 31 && h >= 0 && h <= 23 && y >= 1800 && y <= 2200) {
		e = fmt.Errorf("%v-%v-%v %v h is no hour of a day", y, mo, d, h)
	}
	x := reading{rain: num(5), airC: num(6), humidity: num(7), wind: num(8) * unit.MSPerKnot, ahead: math.NaN()}
	x.at = time.Date(int(y), time.Month(int(mo)), int(d), int(h), 0, 0, 0, time.UTC)
	return row[c[0]], x, e
}

// number reads a number; empty and NA are NaN.
func number(s string, failed *error) float64 {
	if s == "" || s == "NA" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(s, 64)
	if err == nil && math.IsInf(v, 0) {
		err = fmt.Errorf("%q is not finite", s)
	}
	if err != nil && *failed == nil {
		*failed = err
	}
	return v
}

// ReadPlaces reads a table of stations: station, height (m), latitude,
// longitude (degrees), with any other columns.
func ReadPlaces(in io.Reader) (map[string]Place, error) {
	r := csv.NewReader(in)
	head, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("emulate: stations: header: %w", err)
	}
	c, missing := columns(head, "station", "height", "latitude", "longitude")
	if missing != nil {
		return nil, fmt.Errorf("emulate: stations: no column %s", strings.Join(missing, ", "))
	}
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("emulate: stations: %w", err)
	}
	out := map[string]Place{}
	for i, row := range rows {
		var e error
		p := Place{ElevM: number(row[c[1]], &e), Latitude: number(row[c[2]], &e), Longitude: number(row[c[3]], &e)}
		if e == nil && !(math.Abs(p.Latitude) <= 90 && math.Abs(p.Longitude) <= 180) {
			e = fmt.Errorf("latitude %v, longitude %v are no place", p.Latitude, p.Longitude)
		}
		if e != nil {
			return nil, fmt.Errorf("emulate: stations: row %d: %w", i+1, e)
		}
		out[row[c[0]]] = p
	}
	return out, nil
}
