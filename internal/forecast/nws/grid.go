package nws

import (
	"fmt"
	"math"
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

// gridCell is a cell of a forecast office's grid.
type gridCell struct {
	office string
	x, y   int
}

func (g gridCell) path() string { return fmt.Sprintf("/gridpoints/%s/%d,%d", g.office, g.x, g.y) }

var office = regexp.MustCompile(`^[A-Z]{3}$`)

// decodePoint reads the answer for a point whole, and returns its grid cell, or
// refuses it with fault.Invalid. The cell's path is built of its name, not of
// the addresses that the answer holds: those may be anybody's.
func decodePoint(body []byte) (gridCell, error) {
	var doc struct {
		Properties struct {
			GridID string       `json:"gridId"`
			GridX  fetch.Number `json:"gridX"`
			GridY  fetch.Number `json:"gridY"`
		} `json:"properties"`
	}
	if err := fetch.Parse(Name, body, &doc); err != nil {
		return gridCell{}, err
	}
	p := &doc.Properties
	var bad fault.List
	if !office.MatchString(p.GridID) {
		bad.Add("properties.gridId", p.GridID, "must be the three letters of a forecast office")
	}
	for _, c := range []struct {
		name  string
		value unit.Opt
	}{{"gridX", p.GridX.Opt}, {"gridY", p.GridY.Opt}} {
		if v := c.value; !v.Known || v.V < 0 || v.V > 10000 || v.V != math.Trunc(v.V) {
			bad.Add("properties."+c.name, strconv.FormatFloat(v.Float(), 'g', -1, 64),
				"must be a whole number from 0 to 10000")
		}
	}
	if err := bad.Err(Name + ": the point has no grid cell"); err != nil {
		return gridCell{}, err
	}
	return gridCell{p.GridID, int(p.GridX.V), int(p.GridY.V)}, nil
}

// layer is one variable of the raw grid.
type layer struct {
	Unit   string            `json:"uom"`
	Values fetch.List[value] `json:"values"`
}

type value struct {
	ValidTime string       `json:"validTime"`
	Value     fetch.Number `json:"value"`
}

// weather is the layer of what the sky does.
type weather struct {
	Values fetch.List[spell] `json:"values"`
}

type spell struct {
	ValidTime string `json:"validTime"`
	Value     fetch.List[struct {
		Coverage string `json:"coverage"`
		Weather  string `json:"weather"`
	}] `json:"value"`
}

// grid is what is read of the raw layers.
type grid struct {
	Geometry   fetch.Position `json:"geometry"` // a corner of the grid cell
	Properties struct {
		UpdateTime    string  `json:"updateTime"`
		Temperature   layer   `json:"temperature"`
		DewPoint      layer   `json:"dewpoint"`
		Humidity      layer   `json:"relativeHumidity"`
		SkyCover      layer   `json:"skyCover"`
		WindSpeed     layer   `json:"windSpeed"`
		WindGust      layer   `json:"windGust"`
		RainChance    layer   `json:"probabilityOfPrecipitation"`
		Rain          layer   `json:"quantitativePrecipitation"`
		Snow          layer   `json:"snowfallAmount"`
		ThunderChance layer   `json:"probabilityOfThunder"`
		Weather       weather `json:"weather"`
	} `json:"properties"`
}

// manner is how an interval's value becomes its hours' values.
type manner uint8

const (
	held   manner = iota // holds in each hour
	shared               // a total, shared out equally
)

// snowPerWater is how deep fresh snow lies for its water: ten to one is common
// practice in the United States, where the office gives no ratio.
const snowPerWater = 10

// mapped is one layer and what it becomes.
type mapped struct {
	name     string
	layer    *layer
	variable forecast.Variable
	manner   manner
	over     float64 // divides the value once its unit is ours
}

func (g *grid) layers() []mapped {
	p := &g.Properties
	return []mapped{
		{"temperature", &p.Temperature, forecast.AirC, held, 1},
		{"dewpoint", &p.DewPoint, forecast.DewPointC, held, 1},
		{"relativeHumidity", &p.Humidity, forecast.HumidityPct, held, 1},
		{"skyCover", &p.SkyCover, forecast.CloudPct, held, 1},
		{"windSpeed", &p.WindSpeed, forecast.WindMS, held, 1},
		{"windGust", &p.WindGust, forecast.GustMS, held, 1},
		{"probabilityOfPrecipitation", &p.RainChance, forecast.RainChance, held, 100},
		{"quantitativePrecipitation", &p.Rain, forecast.RainMM, shared, 1},
		{"snowfallAmount", &p.Snow, forecast.SnowMM, shared, snowPerWater},
		{"probabilityOfThunder", &p.ThunderChance, forecast.ThunderChance, held, 100},
	}
}

// convert turns a value in a stated unit into ours. Older documents write
// unit: for wmoUnit:. Layers of chances may state no unit; they are percent.
func convert(v float64, stated string, want forecast.Variable) (float64, bool) {
	_, u, prefixed := strings.Cut(stated, ":")
	if !prefixed {
		u = stated
	}
	switch want {
	case forecast.AirC, forecast.DewPointC:
		switch u {
		case "degC":
			return v, true
		case "degF":
			return float64(unit.FromFahrenheit(v)), true
		}
	case forecast.WindMS, forecast.GustMS:
		switch u {
		case "km_h-1":
			return v * unit.MSPerKMH, true
		case "m_s-1":
			return v, true
		}
	case forecast.RainMM, forecast.SnowMM:
		return v, u == "mm"
	case forecast.ThunderChance:
		return v, u == "percent" || u == ""
	default:
		return v, u == "percent"
	}
	return 0, false
}

// DecodeGrid reads one answer of /gridpoints/{office}/{x},{y} whole, or refuses
// it with fault.Invalid naming the field, the value and the rule. A layer of an odd
// unit or form is unknown where no pour hangs on it. Hours reach
// from the first interval of any wanted layer to the last. A total is shared
// out over its interval's hours and keeps its sum; a chance is its interval's.
func DecodeGrid(body []byte, cell place.Cell, fetchedAt time.Time) (forecast.Forecast, error) {
	var doc grid
	if err := fetch.Parse(Name, body, &doc); err != nil {
		return forecast.Forecast{}, err
	}
	var bad fault.List
	src := forecast.Source{Feed: Name, FetchedAt: fetchedAt, Attribution: Attribution}
	src.IssuedAt = issued(&bad, "properties.updateTime", doc.Properties.UpdateTime)
	layers := doc.layers()
	spans := make([][]interval, len(layers))
	var first, last time.Time
	widen := func(is []interval) {
		for _, i := range is {
			if first.IsZero() || i.start.Before(first) {
				first = i.start
			}
			if i.end().After(last) {
				last = i.end()
			}
		}
	}
	var odd fault.List // of layers that can be done without
	for i, l := range layers {
		faults := &odd
		if l.variable.Essential() {
			faults = &bad
		}
		spans[i] = intervals(faults, l.name, len(l.layer.Values),
			func(k int) string { return l.layer.Values[k].ValidTime })
		widen(spans[i])
	}
	sky := &doc.Properties.Weather
	skySpans := intervals(&odd, "weather", len(sky.Values), func(k int) string { return sky.Values[k].ValidTime })
	widen(skySpans)
	if len(bad) == 0 && first.IsZero() {
		bad.Add("properties", "no values", "must hold a layer with hours")
	}
	if err := bad.Err(Name + ": the document is not of its stated form"); err != nil {
		return forecast.Forecast{}, err
	}
	d, err := forecast.NewDraft(cell, src, wetEvent(spans[6]), first, int(math.Min(last.Sub(first).Hours(), 1e6)))
	if err != nil {
		return forecast.Forecast{}, err
	}
	for _, f := range odd {
		d.LeaveOut(f.Path)
	}
	for i, l := range layers {
		putLayer(d, l, spans[i], &bad)
	}
	if err := bad.Err(Name + ": the document is not of its stated form"); err != nil {
		return forecast.Forecast{}, err
	}
	putThunder(d, sky.Values, skySpans)
	capSnow(d)
	fc, err := d.Done()
	fc.Place = doc.Geometry.At
	return fc, err
}

// issued reads when the document was made, where it says so.
func issued(bad *fault.List, name, s string) *time.Time {
	if s == "" {
		return nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		bad.Add(name, s, "must be a time such as 2022-02-04T03:15:41+00:00")
		return nil
	}
	t = t.UTC()
	return &t
}

// intervals reads a layer's spans. It notes what is no span, and spans that
// begin before the one before them has ended.
func intervals(bad *fault.List, name string, n int, text func(int) string) []interval {
	out := make([]interval, n)
	for k := range out {
		at := "properties." + name + ".values[" + strconv.Itoa(k) + "].validTime"
		i, err := parseInterval(text(k))
		if err != nil {
			bad.Add(at, text(k), err.Error())
			return nil
		}
		if k > 0 && i.start.Before(out[k-1].end()) {
			bad.Add(at, text(k), "must begin when the one before it has ended, or later")
			return nil
		}
		out[k] = i
	}
	return out
}

// wetEvent is what the chances are the chance of: 0.01 inch (0.254 mm) or more
// within a period. The office's periods are up to 12 h and are cut at the
// grid's start; equal neighbours are merged. The commonest span of the layer,
// the shorter of two, is taken for its period.
func wetEvent(spans []interval) forecast.WetEvent {
	const longest = 12
	var count [longest + 1]int
	best := 0
	for _, s := range spans {
		h := min(s.hours, longest)
		count[h]++
		if count[h] > count[best] || (count[h] == count[best] && h < best) {
			best = h
		}
	}
	if best == 0 {
		best = longest
	}
	return forecast.WetEvent{OverMM: 0.25, Period: time.Duration(best) * time.Hour}
}

func putLayer(d *forecast.Draft, l mapped, spans []interval, bad *fault.List) {
	field := "properties." + l.name + ".values"
	for k, span := range spans {
		v := l.layer.Values[k].Value
		if !v.Known {
			continue
		}
		x, ok := convert(v.V, l.layer.Unit, l.variable)
		if !ok && !l.variable.Essential() {
			d.LeaveOut("properties." + l.name + ".uom")
			return
		}
		if !ok {
			bad.Add("properties."+l.name+".uom", l.layer.Unit, "must be a unit of that quantity")
			return
		}
		x /= l.over
		if l.manner == shared {
			x /= float64(span.hours)
		}
		h, _ := d.Index(span.start)
		for i := range span.hours {
			d.Put(h+i, l.variable, x, field, k)
		}
	}
}

// capSnow keeps the water of snow within the precipitation, which the office
// makes by another ratio than ten to one.
func capSnow(d *forecast.Draft) {
	for i := range d.Len() {
		if snow, rain := d.Get(i, forecast.SnowMM), d.Get(i, forecast.RainMM); snow.Known && rain.Known &&
			snow.V > rain.V {
			d.Put(i, forecast.SnowMM, rain.V, "properties.snowfallAmount.values", i)
		}
	}
}

// thunderIn gives the chance that a coverage term stands for: the upper end of
// its class, to be on the careful side (NWS Instruction 10-503, expressions of
// uncertainty and areal coverage: 20, 30 to 50, 60 to 70, 80 and more percent;
// from memory). Any other term, such as areas, periods or frequent, means that
// it thunders.
func thunderIn(coverage string) float64 {
	switch coverage {
	case "isolated", "slight_chance":
		return 0.2
	case "scattered", "chance":
		return 0.5
	case "numerous", "likely":
		return 0.7
	}
	return 1
}

// putThunder reads thunder from the weather layer where the layer of thunder
// chances gives none, which is the rule.
func putThunder(d *forecast.Draft, spells []spell, spans []interval) {
	for k, span := range spans {
		chance := 0.0
		for _, w := range spells[k].Value {
			if w.Weather == "thunderstorms" {
				chance = math.Max(chance, thunderIn(w.Coverage))
			}
		}
		h, _ := d.Index(span.start)
		for i := h; i < h+span.hours; i++ {
			if !d.Get(i, forecast.ThunderChance).Known {
				d.Put(i, forecast.ThunderChance, chance, "properties.weather.values", k)
			}
		}
	}
}
