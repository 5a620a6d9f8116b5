package nws

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// hourly is what is read of the hourly product.
type hourly struct {
	Geometry   fetch.Position `json:"geometry"`
	Properties struct {
		UpdateTime string             `json:"updateTime"`
		Periods    fetch.List[period] `json:"periods"`
	} `json:"properties"`
}

// quantity is a number with its unit.
type quantity struct {
	Unit  string       `json:"unitCode"`
	Value fetch.Number `json:"value"`
}

type period struct {
	Start           string       `json:"startTime"`
	Temperature     fetch.Number `json:"temperature"`
	TemperatureUnit string       `json:"temperatureUnit"`
	RainChance      quantity     `json:"probabilityOfPrecipitation"`
	DewPoint        quantity     `json:"dewpoint"`
	Humidity        quantity     `json:"relativeHumidity"`
	WindSpeed       string       `json:"windSpeed"`
	ShortForecast   string       `json:"shortForecast"`
}

// hourlyWet is what the hourly chances are the chance of, as far as can be
// known: the interval is the period's own.
var hourlyWet = forecast.WetEvent{OverMM: 0.25, Period: time.Hour}

// DecodeHourly reads one answer of /gridpoints/{office}/{x},{y}/forecast/hourly
// whole, or refuses it with fault.Invalid naming the field, the value and the
// rule; a dew point, humidity or wind of an odd unit or form is unknown. The product
// has no amounts of rain.
func DecodeHourly(body []byte, cell place.Cell, fetchedAt time.Time) (forecast.Forecast, error) {
	var doc hourly
	if err := fetch.Parse(Name, body, &doc); err != nil {
		return forecast.Forecast{}, err
	}
	var bad fault.List
	src := forecast.Source{Feed: Name, FetchedAt: fetchedAt, Attribution: Attribution}
	src.IssuedAt = issued(&bad, "properties.updateTime", doc.Properties.UpdateTime)
	periods := doc.Properties.Periods
	if len(periods) == 0 {
		bad.Add("properties.periods", "missing or empty", "must hold the hours")
	}
	starts := make([]time.Time, len(periods))
	for i := range periods {
		name := "properties.periods[" + strconv.Itoa(i) + "].startTime"
		t, err := time.Parse(time.RFC3339, periods[i].Start)
		switch {
		case err != nil:
			bad.Add(name, periods[i].Start, "must be a time such as 2026-02-06T16:00:00-05:00")
		case !t.Equal(t.Truncate(time.Hour)):
			bad.Add(name, periods[i].Start, "must be a whole hour")
		case i > 0 && !t.After(starts[i-1]):
			bad.Add(name, periods[i].Start, "must be later than the one before it")
		}
		if len(bad) > 0 {
			break
		}
		starts[i] = t.UTC()
	}
	if err := bad.Err(Name + ": the document is not of its stated form"); err != nil {
		return forecast.Forecast{}, err
	}
	last := starts[len(starts)-1]
	d, err := forecast.NewDraft(cell, src, hourlyWet, starts[0], int(last.Sub(starts[0])/time.Hour)+1)
	if err != nil {
		return forecast.Forecast{}, err
	}
	for i := range periods {
		h, _ := d.Index(starts[i])
		putPeriod(d, h, &periods[i], i, &bad)
	}
	if err := bad.Err(Name + ": the document is not of its stated form"); err != nil {
		return forecast.Forecast{}, err
	}
	fc, err := d.Done()
	fc.Place = doc.Geometry.At
	return fc, err
}

func putPeriod(d *forecast.Draft, h int, p *period, i int, bad *fault.List) {
	name := func(s string) string { return "properties.periods[" + strconv.Itoa(i) + "]." + s }
	put := func(v forecast.Variable, q quantity, over float64, field string) {
		if !q.Value.Known {
			return
		}
		x, ok := convert(q.Value.V, q.Unit, v)
		if !ok && !v.Essential() {
			d.LeaveOut("properties.periods." + field + ".unitCode")
			return
		}
		if !ok {
			addFew(bad, name(field)+".unitCode", q.Unit, "must be a unit of that quantity")
			return
		}
		d.Put(h, v, x/over, "properties.periods."+field, i)
	}
	if p.Temperature.Known {
		put(forecast.AirC, quantity{"deg" + p.TemperatureUnit, p.Temperature}, 1, "temperature")
	}
	put(forecast.DewPointC, p.DewPoint, 1, "dewpoint")
	put(forecast.HumidityPct, p.Humidity, 1, "relativeHumidity")
	put(forecast.RainChance, p.RainChance, 100, "probabilityOfPrecipitation")
	if p.WindSpeed != "" {
		w, ok := parseWind(p.WindSpeed)
		if !ok {
			d.LeaveOut("properties.periods.windSpeed")
		}
		d.Put(h, forecast.WindMS, w.Float(), "properties.periods.windSpeed", i)
	}
	if p.ShortForecast != "" {
		thunder := 0.0
		if text := strings.ToLower(p.ShortForecast); strings.Contains(text, "thunder") ||
			strings.Contains(text, "t-storm") {
			thunder = 1
		}
		d.Put(h, forecast.ThunderChance, thunder, "properties.periods.shortForecast", i)
	}
}

// addFew keeps a fault that every period repeats from filling the message.
func addFew(bad *fault.List, path, value, rule string) {
	if len(*bad) < 20 {
		bad.Add(path, value, rule)
	}
}

var wind = regexp.MustCompile(`^(?:(\d{1,3}) to )?(\d{1,3}) (mph|km/h)$`)

// parseWind reads a wind in words, in m/s. Of a range the greater end is
// taken: wind dries a slab.
func parseWind(s string) (unit.Opt, bool) {
	m := wind.FindStringSubmatch(s)
	if m == nil {
		return unit.Opt{}, false
	}
	v, err := strconv.ParseFloat(m[2], 64)
	if err != nil {
		return unit.Opt{}, false
	}
	if m[3] == "mph" {
		return unit.Some(v * unit.MSPerMPH), true
	}
	return unit.Some(v * unit.MSPerKMH), true
}
