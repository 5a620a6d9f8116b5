package openmeteo

import (
	"math"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
)

// wetEvent is what the provider's chance of rain is the chance of: more than
// 0.1 mm in the preceding hour (https://open-meteo.com/en/docs,
// "precipitation_probability").
var wetEvent = forecast.WetEvent{OverMM: 0.1, Period: time.Hour}

func unmarshalNext(d *jsontext.Decoder, v any) error { return json.UnmarshalDecode(d, v) }

// Decode reads one answer of /v1/forecast whole, or refuses it with
// fault.Invalid naming the field, the value and the rule. Hours are those of
// the labels; what the document does not give is unknown, and so is what it gives
// in an odd unit or length, where no pour hangs on it. The amount, chance,
// gust and radiation labelled t+1 h become those of the hour [t, t+1 h), so
// that the last hour has none and those labelled with the first hour belong to
// no hour.
func Decode(body []byte, cell place.Cell, fetchedAt time.Time) (forecast.Forecast, error) {
	doc, err := read(body, singleRun)
	if err != nil {
		return forecast.Forecast{}, err
	}
	first, at, err := doc.starts()
	if err != nil {
		return forecast.Forecast{}, err
	}
	src := forecast.Source{Feed: Name, FetchedAt: fetchedAt, Attribution: Attribution}
	draft, err := forecast.NewDraft(cell, src, wetEvent, first, at[len(at)-1]+1)
	if err != nil {
		return forecast.Forecast{}, err
	}
	var bad fault.List
	doc.eachColumn(&bad, draft.LeaveOut, func(c table, s scale) {
		if c.quantity == weatherCode {
			putThunder(draft, at, c.name, c.values)
			return
		}
		m := meanings[c.quantity]
		for i, v := range c.values {
			h := at[i]
			if m.preceding {
				h--
			}
			draft.Put(h, m.variable, s.of(v), c.name, i)
		}
	})
	if err := bad.Err(Name + ": the document is not of its stated form"); err != nil {
		return forecast.Forecast{}, err
	}
	capSnow(draft)
	fc, err := draft.Done()
	fc.Place = fetch.Place(doc.Latitude, doc.Longitude)
	return fc, err
}

// singleRun names the columns of one run.
func singleRun(name string) (column, bool) {
	q, ok := quantities[name]
	return column{quantity: q}, ok
}

// eachColumn calls f with every wanted column and the scale of its unit. It
// notes columns of another length than the hours, what is no list of numbers, and units that are unknown: as bad
// where no pour is planned without them, else as left out.
func (doc *document) eachColumn(bad *fault.List, leaveOut func(field string), f func(c table, s scale)) {
	for _, name := range doc.Hourly.broken {
		leaveOut("hourly." + name)
	}
	for _, c := range doc.Hourly.columns {
		m, put := meanings[c.quantity]
		essential := put && m.variable.Essential()
		if len(c.values) != len(doc.Hourly.labels) {
			if !essential {
				leaveOut("hourly." + c.name)
				continue
			}
			bad.Add("hourly."+c.name, strconv.Itoa(len(c.values))+" values",
				"must hold one for each of the "+strconv.Itoa(len(doc.Hourly.labels))+" hours")
			continue
		}
		stated, given := doc.Units.of[c.name]
		s, known := scaleOf(c.quantity, stated)
		switch {
		case known:
			f(c, s)
		case allUnknown(c.values): // without any value the unit is "undefined"
		case !essential:
			leaveOut("hourly_units." + c.name)
		default:
			if !given {
				stated = "missing"
			}
			bad.Add("hourly_units."+c.name, stated, "must be a unit of that quantity")
		}
	}
}

func allUnknown(values []float64) bool {
	for _, v := range values {
		if !math.IsNaN(v) {
			return false
		}
	}
	return true
}

// putThunder gives an hour thunder where the code at either of its ends says
// so: the code holds at its label, yet follows from the rain of the hour before.
func putThunder(d *forecast.Draft, at []int, name string, codes []float64) {
	for i, code := range codes {
		if math.IsNaN(code) {
			continue
		}
		if code < 0 || code > 99 || code != math.Trunc(code) {
			d.Fault(name, i, code, "must be a WMO code, 0 to 99")
			continue
		}
		if thunder(code) {
			d.Put(at[i]-1, forecast.ThunderChance, 1, name, i)
			d.Put(at[i], forecast.ThunderChance, 1, name, i)
		} else if !d.Get(at[i], forecast.ThunderChance).Known {
			d.Put(at[i], forecast.ThunderChance, 0, name, i)
		}
	}
}

// capSnow keeps the water of snow within the hour's precipitation: both are
// rounded, the snow before it is turned into water.
func capSnow(d *forecast.Draft) {
	for i := range d.Len() {
		snow, rain := d.Get(i, forecast.SnowMM), d.Get(i, forecast.RainMM)
		if snow.Known && rain.Known && snow.V > rain.V {
			d.Put(i, forecast.SnowMM, rain.V, "snowfall", i)
		}
	}
}
