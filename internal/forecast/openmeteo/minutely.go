package openmeteo

import (
	"context"
	"fmt"
	"maps"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// quarter is the step of the product.
const quarter = 15 * time.Minute

// minutelyVariables are asked for. Real quarter hours come for North America and
// central Europe only; elsewhere the service interpolates its hours, and does
// not say so (https://open-meteo.com/en/docs, "15-Minutely Weather Variables").
var minutelyVariables = []string{"temperature_2m", "relative_humidity_2m", "precipitation", "precipitation_probability",
	"wind_speed_10m", "wind_gusts_10m"}

// What is asked for: the hour before, for what the rain was, and half a day.
const (
	pastQuarters  = 4
	aheadQuarters = 48
)

// minutely is what is read of an answer.
type minutely struct {
	Latitude  fetch.Number `json:"latitude"`
	Longitude fetch.Number `json:"longitude"`
	Offset    int          `json:"utc_offset_seconds"`
	Units     fetch.Words  `json:"minutely_15_units"`
	Quarters  quarters     `json:"minutely_15"`
	Error     bool         `json:"error"`
	Reason    string       `json:"reason"`
}

// quarters are the columns by the document's names: one of a quantity, or one
// of a quantity and a model.
type quarters struct {
	hourly
	columns map[string]fetch.Numbers
}

// UnmarshalJSONFrom keeps the wanted columns and skips the others.
func (q *quarters) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	q.columns = map[string]fetch.Numbers{}
	return fetch.EachField(d, func(name string) error {
		if name == "time" {
			return q.readLabels(d)
		}
		if base, _ := modelOf(name); base == "" {
			return d.SkipValue()
		}
		if len(q.columns) >= mostColumns {
			return fetch.NotA(fmt.Sprintf("within %d columns", mostColumns), string(d.StackPointer()), name)
		}
		var n fetch.Numbers
		if err := n.UnmarshalJSONFrom(d); err != nil {
			return err
		}
		q.columns[name] = n
		return nil
	})
}

// modelOf parts a column's name into the quantity's and the model's; an empty
// base is no wanted quantity.
func modelOf(name string) (base, model string) {
	for _, v := range minutelyVariables {
		if rest, ok := strings.CutPrefix(name, v); ok && len(v) > len(base) && (rest == "" || rest[0] == '_') {
			base, model = v, strings.TrimPrefix(rest, "_")
		}
	}
	if base == "precipitation" && strings.HasPrefix(model, "probability") {
		base, model = "", ""
	}
	return base, model
}

// DecodeMinutely reads one answer with minutely_15 whole, or refuses it with
// fault.Invalid naming the field, the value and the rule. Sums and maxima
// labelled t are those of the quarter hour before t; a sum times four is a rate.
// The chance is the hour's, joined by straight lines: it is kept with that
// period. Of several models the one that knows the rain of most steps counts.
func DecodeMinutely(body []byte, cell place.Cell, fetchedAt time.Time) (forecast.ShortRange, error) {
	var doc minutely
	if err := fetch.Parse(Name, body, &doc); err != nil {
		return forecast.ShortRange{}, err
	}
	if doc.Error {
		return forecast.ShortRange{}, fault.New(fault.Invalid, Name+": refused: "+doc.Reason)
	}
	labels, err := doc.labels()
	if err != nil {
		return forecast.ShortRange{}, err
	}
	s := forecast.ShortRange{Cell: cell, Place: fetch.Place(doc.Latitude, doc.Longitude), ChanceOver: time.Hour,
		Source: forecast.Source{Feed: Name, FetchedAt: fetchedAt, Attribution: Attribution}}
	steps := map[int64]*forecast.ShortStep{}
	at := func(t int64) *forecast.ShortStep {
		if steps[t] == nil {
			steps[t] = &forecast.ShortStep{Start: time.Unix(t, 0).UTC(), Length: quarter}
		}
		return steps[t]
	}
	var bad fault.List
	for _, base := range minutelyVariables {
		name := doc.column(base)
		values := doc.Quarters.columns[name]
		if len(values) == 0 {
			continue
		}
		if len(values) != len(labels) {
			bad.Add("minutely_15."+name, strconv.Itoa(len(values))+" values", "must hold one for each of the "+
				strconv.Itoa(len(labels))+" times")
			continue
		}
		scale, known := scaleOf(quantities[base], doc.Units[name])
		if !known && !allUnknown(values) { // a variable that a model lacks has the unit "undefined"
			bad.Add("minutely_15_units."+name, doc.Units[name], "must be a unit of that quantity")
			continue
		}
		for i, v := range values {
			if !math.IsNaN(v) {
				putQuarter(at, labels[i], quantities[base], scale.of(v))
			}
		}
	}
	if err := bad.Err(Name + ": the document is not of its stated form"); err != nil {
		return forecast.ShortRange{}, err
	}
	for _, t := range slices.Sorted(maps.Keys(steps)) {
		s.Steps = append(s.Steps, *steps[t])
	}
	if err := s.Sound(); err != nil {
		return forecast.ShortRange{}, err
	}
	return s, nil
}

func putQuarter(at func(int64) *forecast.ShortStep, label int64, q quantity, v float64) {
	before := label - int64(quarter/time.Second)
	x := unit.Some(v)
	switch q {
	case precipitation:
		at(before).RainMMH = unit.Some(v * float64(time.Hour/quarter))
	case chance:
		at(before).RainChance = x
	case gusts:
		at(before).GustMS = x
	case temperature:
		at(label).AirC = x
	case humidity:
		at(label).HumidityPct = x
	case wind:
		at(label).WindMS = x
	}
}

// column is the name of a quantity's column: without a model's, else that of
// the model that knows most of the rain, else of anything.
func (doc *minutely) column(base string) string {
	if _, ok := doc.Quarters.columns[base]; ok {
		return base
	}
	known := func(name string) (n int) {
		for _, v := range doc.Quarters.columns[name] {
			if !math.IsNaN(v) {
				n++
			}
		}
		return n
	}
	best, most := "", [2]int{-1, -1}
	for _, name := range slices.Sorted(maps.Keys(doc.Quarters.columns)) {
		b, model := modelOf(name)
		if b != base {
			continue
		}
		if n := [2]int{known("precipitation_" + model), known(name)}; slices.Compare(n[:], most[:]) > 0 {
			best, most = base+"_"+model, n
		}
	}
	return best
}

// labels are the steps' times in seconds since 1970, UTC. It refuses such as are
// no whole quarter hours, come twice or out of order; a gap is allowed.
func (doc *minutely) labels() ([]int64, error) {
	var bad fault.List
	if len(doc.Quarters.labels) == 0 {
		bad.Add("minutely_15.time", "missing or empty", "must hold the quarter hours")
		return nil, bad.Err(Name + ": the document holds no quarter hours")
	}
	const widest = 16 * 3600
	if doc.Offset < -widest || doc.Offset > widest {
		bad.Add("utc_offset_seconds", strconv.Itoa(doc.Offset), "must be within 16 hours")
	}
	out := make([]int64, len(doc.Quarters.labels))
	for i, l := range doc.Quarters.labels {
		if !doc.Quarters.unix {
			l -= int64(doc.Offset)
		}
		const furthest = 1 << 33 // seconds since 1970: the year 2242
		if l < 0 || l > furthest || l%int64(quarter/time.Second) != 0 || i > 0 && l <= out[i-1] {
			bad.Add("minutely_15.time["+strconv.Itoa(i)+"]", strconv.FormatInt(l, 10),
				"must be a quarter hour later than the one before it")
			break
		}
		out[i] = l
	}
	return out, bad.Err(Name + ": the document's times make no sense")
}

// FetchShort asks for the cell's quarter hours. What serves the hours ahead is
// returned, or nothing.
func (f *Feed) FetchShort(ctx context.Context, cell place.Cell, now time.Time) (forecast.ShortRange, error) {
	q := f.query(cell, nil)
	for _, k := range []string{"hourly", "forecast_days", "past_days"} {
		q.Del(k)
	}
	maps.Copy(q, url.Values{"minutely_15": {strings.Join(minutelyVariables, ",")},
		"past_minutely_15": {strconv.Itoa(pastQuarters)}, "forecast_minutely_15": {strconv.Itoa(aheadQuarters)}})
	ans, err := f.client.Get(ctx, fetch.Request{Feed: Name, URL: f.base + "/v1/forecast?" + q.Encode(), Accept: accept,
		Now: now, Reason: reason})
	if err != nil {
		return forecast.ShortRange{}, err
	}
	s, err := DecodeMinutely(ans.Body, cell, now)
	if err == nil {
		err = s.CheckAhead(now)
	}
	if err != nil {
		return forecast.ShortRange{}, err
	}
	s.NextFetch = ans.Expires
	return s, nil
}
