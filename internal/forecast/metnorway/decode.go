package metnorway

import (
	"strconv"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// wetEvent is what the provider's probability of precipitation is the chance
// of: 0.1 mm or more within its period (from memory; the data model at
// https://docs.api.met.no/doc/locationforecast/datamodel.html gives no amount).
// Blocks of six hours say so hour by hour.
var wetEvent = forecast.WetEvent{OverMM: 0.1, Period: time.Hour}

// document is what is read of an answer.
type document struct {
	Geometry   fetch.Position `json:"geometry"`
	Properties *struct {
		Meta struct {
			UpdatedAt string      `json:"updated_at"`
			Units     fetch.Words `json:"units"`
		} `json:"meta"`
		Timeseries fetch.List[step] `json:"timeseries"`
	} `json:"properties"`
}

// step is what the document says from one time on.
type step struct {
	Time string `json:"time"`
	Data struct {
		Instant struct {
			Details instant `json:"details"`
		} `json:"instant"`
		Next1 *block `json:"next_1_hours"`
		Next6 *block `json:"next_6_hours"`
	} `json:"data"`
}

// instant holds at the step's time.
type instant struct {
	Air      fetch.Number `json:"air_temperature"`
	Dew      fetch.Number `json:"dew_point_temperature"`
	Humidity fetch.Number `json:"relative_humidity"`
	Cloud    fetch.Number `json:"cloud_area_fraction"`
	Wind     fetch.Number `json:"wind_speed"`
	Gust     fetch.Number `json:"wind_speed_of_gust"`
}

// block is a period that starts at the step's time.
type block struct {
	Summary struct {
		Symbol string `json:"symbol_code"`
	} `json:"summary"`
	Details struct {
		Amount        fetch.Number `json:"precipitation_amount"`
		ChanceOfRain  fetch.Number `json:"probability_of_precipitation"`
		ChanceThunder fetch.Number `json:"probability_of_thunder"`
	} `json:"details"`
}

// instants are the variables that hold at the step's time, with their names
// and the one unit that the provider gives them in.
var instants = []struct {
	variable forecast.Variable
	name     string
	unit     string
	of       func(*instant) unit.Opt
}{
	{forecast.AirC, "air_temperature", "celsius", func(i *instant) unit.Opt { return i.Air.Opt }},
	{forecast.DewPointC, "dew_point_temperature", "celsius", func(i *instant) unit.Opt { return i.Dew.Opt }},
	{forecast.HumidityPct, "relative_humidity", "%", func(i *instant) unit.Opt { return i.Humidity.Opt }},
	{forecast.CloudPct, "cloud_area_fraction", "%", func(i *instant) unit.Opt { return i.Cloud.Opt }},
	{forecast.WindMS, "wind_speed", "m/s", func(i *instant) unit.Opt { return i.Wind.Opt }},
	{forecast.GustMS, "wind_speed_of_gust", "m/s", func(i *instant) unit.Opt { return i.Gust.Opt }},
}

// The provider's longest step; between two steps the values of an instant are
// taken on the straight line (a judgement), and marked as computed.
const longestStep = 6

// Decode reads one answer whole, or refuses it with fault.Invalid naming the
// field, the value and the rule. A block's amount is shared out equally over
// its hours, so that its total is kept; its chance and its thunder hold for
// the block, and so at most for each of its hours.
func Decode(body []byte, cell place.Cell, fetchedAt time.Time) (forecast.Forecast, error) {
	var doc document
	if err := fetch.Parse(Name, body, &doc); err != nil {
		return forecast.Forecast{}, err
	}
	times, err := doc.times()
	if err != nil {
		return forecast.Forecast{}, err
	}
	src := forecast.Source{Feed: Name, FetchedAt: fetchedAt, Attribution: Attribution}
	if src.IssuedAt, err = doc.issued(); err != nil {
		return forecast.Forecast{}, err
	}
	last := len(times) - 1
	hours := int(times[last].Sub(times[0])/time.Hour) + 1
	series := doc.Properties.Timeseries
	if series[last].Data.Next6 != nil && series[last].Data.Next1 == nil {
		hours += longestStep - 1 // the last block reaches beyond the last instant
	}
	d, err := forecast.NewDraft(cell, src, wetEvent, times[0], hours)
	if err != nil {
		return forecast.Forecast{}, err
	}
	if err := doc.checkUnits(); err != nil {
		return forecast.Forecast{}, err
	}
	for i := range series {
		h, _ := d.Index(times[i])
		putInstant(d, h, &series[i].Data.Instant.Details, i)
		step := longestStep
		if i < last {
			step = int(times[i+1].Sub(times[i]) / time.Hour)
		}
		switch {
		case series[i].Data.Next1 != nil:
			putBlock(d, h, 1, series[i].Data.Next1, i)
		// A longer block is believed only where no step divides it: else its
		// hours have amounts of their own, or should have.
		case series[i].Data.Next6 != nil && step >= longestStep:
			putBlock(d, h, longestStep, series[i].Data.Next6, i)
		}
		if i < last && step > 1 && step <= longestStep {
			between(d, h, step, &series[i].Data.Instant.Details, &series[i+1].Data.Instant.Details, i)
		}
	}
	fc, err := d.Done()
	fc.Place = doc.Geometry.At
	return fc, err
}

// times reads the steps' times. It refuses such as are no whole hours, come
// twice or out of order; a gap is allowed.
func (doc *document) times() ([]time.Time, error) {
	var bad fault.List
	if doc.Properties == nil || len(doc.Properties.Timeseries) == 0 {
		bad.Add("properties.timeseries", "missing or empty", "must hold the hours")
		return nil, bad.Err(Name + ": the document holds no hours")
	}
	series := doc.Properties.Timeseries
	times := make([]time.Time, len(series))
	for i := range series {
		t, err := time.Parse(time.RFC3339, series[i].Time)
		rule := ""
		switch {
		case err != nil:
			rule = "must be a time such as 2020-07-20T11:00:00Z"
		case !t.Equal(t.Truncate(time.Hour)):
			rule = "must be a whole hour"
		case i > 0 && !t.After(times[i-1]):
			rule = "must be later than the one before it"
		}
		if rule != "" {
			bad.Add("properties.timeseries["+strconv.Itoa(i)+"].time", series[i].Time, rule)
			return nil, bad.Err(Name + ": the document's hours make no sense")
		}
		times[i] = t.UTC()
	}
	return times, nil
}

// issued returns when the document was made, if it says so.
func (doc *document) issued() (*time.Time, error) {
	s := doc.Properties.Meta.UpdatedAt
	if s == "" {
		return nil, nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		var bad fault.List
		bad.Add("properties.meta.updated_at", s, "must be a time such as 2020-07-20T11:00:00Z")
		return nil, bad.Err(Name + ": the document is not of its stated form")
	}
	t = t.UTC()
	return &t, nil
}

// checkUnits refuses a document that states another unit than the provider's
// own, or gives a variable without any.
func (doc *document) checkUnits() error {
	var bad fault.List
	stated := doc.Properties.Meta.Units
	check := func(name, want string, used bool) {
		got, ok := stated[name]
		if !ok && used {
			got = "missing"
		}
		if got != want && (ok || used) {
			bad.Add("properties.meta.units."+name, got, "must be "+want)
		}
	}
	for _, v := range instants {
		used := false
		for i := range doc.Properties.Timeseries {
			used = used || v.of(&doc.Properties.Timeseries[i].Data.Instant.Details).Known
		}
		check(v.name, v.unit, used)
	}
	amounts := false
	for i := range doc.Properties.Timeseries {
		data := &doc.Properties.Timeseries[i].Data
		for _, b := range []*block{data.Next1, data.Next6} {
			amounts = amounts || (b != nil && b.Details.Amount.Known)
		}
	}
	check("precipitation_amount", "mm", amounts)
	check("probability_of_precipitation", "%", false)
	check("probability_of_thunder", "%", false)
	return bad.Err(Name + ": the document is not of its stated form")
}

func putInstant(d *forecast.Draft, h int, in *instant, step int) {
	for _, v := range instants {
		d.Put(h, v.variable, v.of(in).Float(), v.name, step)
	}
}

// between puts the values of the hours between two steps on the straight
// line, but for gusts, whose peaks lie on none.
func between(d *forecast.Draft, h, step int, a, b *instant, index int) {
	for _, v := range instants {
		x, y := v.of(a), v.of(b)
		if !x.Known || !y.Known || v.variable == forecast.GustMS {
			continue
		}
		for k := 1; k < step; k++ {
			d.PutComputed(h+k, v.variable, x.V+(y.V-x.V)*float64(k)/float64(step), v.name, index)
		}
	}
}

// putBlock shares a block out over its hours.
func putBlock(d *forecast.Draft, h, hours int, b *block, step int) {
	thunder, snow := readSymbol(b.Summary.Symbol)
	if !thunder.Known || thunder.V == 0 {
		if p := b.Details.ChanceThunder; p.Known {
			thunder = unit.Some(p.V / 100)
		}
	}
	for k := h; k < h+hours; k++ {
		amount := b.Details.Amount.Float() / float64(hours)
		d.Put(k, forecast.RainMM, amount, "precipitation_amount", step)
		d.Put(k, forecast.RainChance, b.Details.ChanceOfRain.Float()/100, "probability_of_precipitation", step)
		d.Put(k, forecast.ThunderChance, thunder.Float(), "probability_of_thunder", step)
		if snow.Known {
			d.Put(k, forecast.SnowMM, snow.V*amount, "precipitation_amount", step)
		}
		if hours > 1 && b.Details.ChanceOfRain.Known {
			d.ChanceOver(k, hours)
		}
	}
}

// readSymbol reads the provider's symbol code: whether it thunders, and which
// share of the precipitation is snow. Sleet is a mixture of unknown shares.
// The codes are listed at https://github.com/metno/weathericons.
func readSymbol(code string) (thunder, snow unit.Opt) {
	if code == "" {
		return unit.Opt{}, unit.Opt{}
	}
	thunder, snow = unit.Some(0), unit.Some(0)
	if strings.Contains(code, "thunder") {
		thunder = unit.Some(1)
	}
	switch {
	case strings.Contains(code, "sleet"):
		snow = unit.Opt{}
	case strings.Contains(code, "snow"):
		snow = unit.Some(1)
	}
	return thunder, snow
}
