package openmeteo_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/place"
)

// doc writes a small document: three hours from noon.
func doc(units, hourly string) []byte {
	return fmt.Appendf(nil, `{"utc_offset_seconds":0,"hourly_units":{"time":"iso8601",%s},
		"hourly":{"time":["2026-04-09T12:00","2026-04-09T13:00","2026-04-09T14:00"],%s}}`, units, hourly)
}

func value(t *testing.T, body []byte, hour int, v forecast.Variable) float64 {
	t.Helper()
	fc, err := decode(body)
	if err != nil {
		t.Fatal(err)
	}
	return fc.Hours[hour].Get(v).Float()
}

// The units that the service documents, each with its exact factor (NIST SP
// 811, appendix B; the knot is 1852 m an hour).
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		name, unit string
		theirs     float64
		v          forecast.Variable
		ours       float64
	}{
		{"temperature_2m", "°F", 50, forecast.AirC, 10},
		{"temperature_2m", "°C", -3.5, forecast.AirC, -3.5},
		{"dew_point_2m", "°F", 32, forecast.DewPointC, 0},
		{"wind_speed_10m", "km/h", 36, forecast.WindMS, 10},
		{"windspeed_10m", "mp/h", 10, forecast.WindMS, 4.4704},
		{"wind_speed_10m", "mph", 10, forecast.WindMS, 4.4704},
		{"wind_speed_10m", "kn", 36, forecast.WindMS, 18.52},
		{"wind_gusts_10m", "m/s", 12, forecast.GustMS, 12},
		{"precipitation", "inch", 0.5, forecast.RainMM, 12.7},
		{"precipitation", "mm", 0.5, forecast.RainMM, 0.5},
		{"snowfall", "cm", 7, forecast.SnowMM, 10},
		{"snowfall", "inch", 7, forecast.SnowMM, 25.4},
		{"precipitation_probability", "%", 57, forecast.RainChance, 0.57},
		{"relativehumidity_2m", "%", 88, forecast.HumidityPct, 88},
		{"cloudcover", "%", 12, forecast.CloudPct, 12},
		{"shortwave_radiation", "W/m²", 345, forecast.ShortwaveWM2, 345},
	} {
		row := fmt.Sprintf("%q:[%[2]v,%[2]v,%[2]v]", c.name, c.theirs)
		got := value(t, doc(fmt.Sprintf("%q:%q", c.name, c.unit), row), 0, c.v)
		if math.Abs(got-c.ours) > 1e-12 {
			t.Errorf("%v %s of %s are %v, want %v", c.theirs, c.unit, c.name, got, c.ours)
		}
		for _, units := range []string{fmt.Sprintf("%q:%q", c.name, "furlong"), fmt.Sprintf("%q:%q", c.name, ""),
			fmt.Sprintf("%q:%q", c.name, "undefined"), `"other":"mm"`} {
			f, err := decode(doc(units, row))
			switch {
			case c.v.Essential():
				if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "hourly_units."+c.name) {
					t.Errorf("%s in %s gives %v", c.name, units, err)
				}
			case err != nil || !slices.Equal(f.Sources[0].LeftOut, []string{"hourly_units." + c.name}) ||
				f.Hours[0].Get(c.v).Known:
				t.Errorf("%s in %s: %v, %+v", c.name, units, err, f.Sources)
			}
		}
	}
	// A column of another length that can be done without is unknown as a whole.
	f, err := decode(doc(`"precipitation":"mm","wind_speed_10m":"m/s"`,
		`"precipitation":[1,2,3],"wind_speed_10m":[1,2]`))
	if err != nil || !slices.Equal(f.Sources[0].LeftOut, []string{"hourly.wind_speed_10m"}) ||
		f.Hours[0].Get(forecast.WindMS).Known || !f.Hours[0].Get(forecast.RainMM).Known {
		t.Errorf("a short column of wind: %v, %+v", err, f.Sources)
	}
	// So is one that holds something else than numbers; of rain that refuses the document.
	for _, column := range []string{`[1,"calm",2]`, `[1,[2],3]`, `"calm"`, `{"low":1}`, `7`, `true`} {
		f, err := decode(doc(`"precipitation":"mm","wind_speed_10m":"m/s"`,
			`"precipitation":[1,2,3],"wind_speed_10m":`+column))
		if err != nil || !slices.Equal(f.Sources[0].LeftOut, []string{"hourly.wind_speed_10m"}) ||
			f.Hours[0].Get(forecast.WindMS).Known || !f.Hours[0].Get(forecast.RainMM).Known {
			t.Errorf("wind of %s: %v, %+v", column, err, f.Sources)
		}
		_, err = decode(doc(`"precipitation":"mm"`, `"precipitation":`+column))
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "precipitation") {
			t.Errorf("rain of %s: %v", column, err)
		}
	}
	// A column without any value may have no unit.
	if got := value(t, doc(`"snowfall":"undefined"`, `"snowfall":[null,null,null]`), 0,
		forecast.SnowMM); !math.IsNaN(got) {
		t.Errorf("a column of nulls is %v", got)
	}
}

func TestRefusedForms(t *testing.T) {
	mm := `"precipitation":"mm"`
	for name, c := range map[string]struct {
		body []byte
		says string
	}{
		"two names": {doc(`"wind_speed_10m":"m/s","windspeed_10m":"m/s"`,
			`"wind_speed_10m":[1,1,1],"windspeed_10m":[2,2,2]`), "one name only"},
		"short column":      {doc(mm, `"precipitation":[1,2]`), "one for each of the 3 hours"},
		"long column":       {doc(mm, `"precipitation":[1,2,3,4]`), "one for each of the 3 hours"},
		"text for a number": {doc(mm, `"precipitation":[1,"2",3]`), "/hourly/precipitation/1"},
		"no list":           {doc(mm, `"precipitation":5`), "/hourly/precipitation"},
		"huge number":       {doc(mm, `"precipitation":[1e999,1,1]`), "must be between"},
		"a name twice":      {doc(mm, `"precipitation":[1,1,1],"precipitation":[2,2,2]`), "duplicate"},
		"no such code":      {doc(`"weather_code":"wmo code"`, `"weather_code":[1,2.5,3]`), "0 to 99"},
		"two places": {[]byte(`[` + string(doc(mm, `"precipitation":[1,1,1]`)) + `,` +
			string(doc(mm, `"precipitation":[1,1,1]`)) + `]`), "one place only"},
		"wild offset": {bytes.Replace(doc(mm, `"precipitation":[1,1,1]`), []byte(`seconds":0`),
			[]byte(`seconds":99999`), 1), "utc_offset_seconds"},
		"half an hour": {bytes.ReplaceAll(doc(mm, `"precipitation":[1,1,1]`), []byte(`:00"`), []byte(`:30"`)),
			"whole hour"},
		"mixed times": {bytes.Replace(doc(mm, `"precipitation":[1,1,1]`), []byte(`"2026-04-09T14:00"`),
			[]byte(`1775743200`), 1), "of one form"},
		"no time": {bytes.Replace(doc(mm, `"precipitation":[1,1,1]`), []byte(`"2026-04-09T14:00"`), []byte(`null`),
			1), "must be a time"},
		"a far time": {[]byte(`{"hourly_units":{},"hourly":{"time":[99999999999999]}}`), "between 1970 and 2242"},
	} {
		_, err := decode(c.body)
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: error is %v, which does not say %q", name, err, c.says)
		}
	}
}

// One place in a list is that place.
func TestListOfOnePlace(t *testing.T) {
	one := doc(`"precipitation":"mm"`, `"precipitation":[1,2,3]`)
	if got := value(t, []byte("[\n"+string(one)+"]"), 0, forecast.RainMM); got != 2 {
		t.Errorf("the rain of the first hour is %v, want that labelled with its end, 2", got)
	}
}

// The water of snow never exceeds the rounded precipitation that it is part of.
func TestSnowWithinPrecipitation(t *testing.T) {
	b := doc(`"precipitation":"mm","snowfall":"cm"`, `"precipitation":[0,1,2],"snowfall":[0,0.77,0.7]`)
	if got := value(t, b, 0, forecast.SnowMM); got != 1 {
		t.Errorf("0.77 cm of snow within 1 mm are %v mm of water, want 1", got)
	}
	if got := value(t, b, 1, forecast.SnowMM); math.Abs(got-1) > 1e-12 {
		t.Errorf("0.7 cm of snow within 2 mm are %v mm of water, want 1", got)
	}
}

// Codes 95, 96 and 99 are thunder, and count for both hours that they touch.
func TestThunderCodes(t *testing.T) {
	for code := range 100 {
		b := doc(`"weather_code":"wmo code"`, fmt.Sprintf(`"weather_code":[0,%d,0]`, code))
		want := 0.0
		if code == 95 || code == 96 || code == 99 {
			want = 1
		}
		for hour, w := range []float64{want, want, 0} {
			if got := value(t, b, hour, forecast.ThunderChance); got != w {
				t.Errorf("code %d at the middle label gives hour %d a chance of %v, want %v", code, hour, got, w)
			}
		}
	}
}

// The recorded cassette of 2023 holds weather codes alone.
func TestCassette(t *testing.T) {
	text := string(feedtest.Read(t, "open-meteo/http_cassette_general.yml"))
	m := regexp.MustCompile(`(?s)string: '(\{.*?\})'`).FindStringSubmatch(text)
	if m == nil {
		t.Fatal("the cassette holds no body")
	}
	body := []byte(regexp.MustCompile(`\n\s+`).ReplaceAllString(m[1], " "))
	fc, err := decode(body)
	if err != nil {
		t.Fatal(err)
	}
	if !fc.Hours[0].Get(forecast.ThunderChance).Known || len(fc.Hours) != 168 {
		t.Errorf("%d hours, the first with thunder %+v; want 168, known", len(fc.Hours),
			fc.Hours[0].Get(forecast.ThunderChance))
	}
	if err := fc.Usable(); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a forecast of weather codes alone is used: %v", err)
	}
}

// asked serves both products and keeps what was asked.
func asked(t *testing.T, ensemble http.HandlerFunc) (base string, queries func() []url.URL) {
	t.Helper()
	r := write(table(72))
	var mu sync.Mutex
	var got []url.URL
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		mu.Lock()
		got = append(got, *req.URL)
		mu.Unlock()
		if req.URL.Path == "/v1/ensemble" {
			ensemble(w, req)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		if _, err := w.Write(r["/v1/forecast"]); err != nil {
			t.Error(err)
		}
	}))
	t.Cleanup(srv.Close)
	return srv.URL, func() []url.URL { mu.Lock(); defer mu.Unlock(); return got }
}

func TestWhatIsAsked(t *testing.T) {
	base, queries := asked(t, http.NotFound)
	f, err := openmeteo.New(openmeteo.Config{BaseURL: base + "/", Key: "secret-key", Contact: feedtest.Contact})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Fetch(context.Background(), place.Cell{Latitude: 47.123456, Longitude: -122.45}, "",
		noon); err != nil {
		t.Fatal(err)
	}
	got := queries()
	if len(got) != 1 {
		t.Fatalf("%d requests, want one", len(got))
	}
	q := got[0].Query()
	for k, want := range map[string]string{"latitude": "47.1235", "longitude": "-122.45", "timezone": "GMT",
		"apikey":        "secret-key",
		"forecast_days": "16", "past_days": "2", "wind_speed_unit": "ms"} {
		if q.Get(k) != want {
			t.Errorf("%s is %q, want %q", k, q.Get(k), want)
		}
	}
	for _, v := range []string{"temperature_2m", "precipitation", "precipitation_probability", "weather_code",
		"wind_gusts_10m", "shortwave_radiation"} {
		if !strings.Contains(q.Get("hourly"), v) {
			t.Errorf("%s is not asked for", v)
		}
	}
}

// A key stays out of errors, which end in logs and on pages.
func TestTheKeyStaysSecret(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "http://other.example/steal", http.StatusFound)
	}))
	for _, base := range []string{srv.URL, "http://127.0.0.1:1"} {
		f, err := openmeteo.New(openmeteo.Config{BaseURL: base, Key: "secret-key"})
		if err != nil {
			t.Fatal(err)
		}
		_, err = f.Fetch(context.Background(), place.Cell{}, "", noon)
		if fault.KindOf(err) != fault.Unavailable || strings.Contains(err.Error(), "secret") {
			t.Errorf("error is %v, want one without the key", err)
		}
	}
	srv.Close()
}

func TestNotice(t *testing.T) {
	for _, c := range []struct {
		config openmeteo.Config
		notice bool
	}{
		{openmeteo.Config{}, true},
		{openmeteo.Config{BaseURL: openmeteo.FreeURL}, true},
		{openmeteo.Config{Key: "k"}, false},
		{openmeteo.Config{BaseURL: "http://weather.example"}, false},
	} {
		f, err := openmeteo.New(c.config)
		if err != nil {
			t.Fatal(err)
		}
		if got := f.Notice(); (got != "") != c.notice {
			t.Errorf("%+v: the notice is %q, want one: %v", c.config, got, c.notice)
		}
	}
	for _, bad := range []openmeteo.Config{{BaseURL: "ftp://x"}, {BaseURL: "weather"}, {BaseURL: "http://x?y=1"},
		{EnsembleURL: "://"}, {Contact: "a\nb"}} {
		if _, err := openmeteo.New(bad); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%+v: error is %v, want %v", bad, err, fault.Invalid)
		}
	}
}

var noon = time.Date(2026, 4, 9, 12, 0, 0, 0, time.UTC)

// ensembleBody writes members for the hours of the forecast.
func ensembleBody(start time.Time, hours int, keys ...string) []byte {
	hourly, units := map[string]any{}, map[string]string{"time": "iso8601"}
	times := make([]string, hours)
	for i := range times {
		times[i] = start.Add(time.Duration(i) * time.Hour).Format("2006-01-02T15:04")
	}
	hourly["time"] = times
	for k, key := range keys {
		values := make([]float64, hours)
		for i := range values {
			values[i] = float64(k) + float64(i)/100
		}
		hourly[key], units[key] = values, "mm"
		if strings.HasPrefix(key, "temperature") {
			units[key] = "°C"
		}
	}
	b, err := json.Marshal(map[string]any{"hourly_units": units, "hourly": hourly})
	if err != nil {
		panic(err)
	}
	return b
}

func TestMembers(t *testing.T) {
	const file = "open-meteo/ensemble_amsterdam_2026-07-11_1h_31members.json"
	e, err := openmeteo.DecodeEnsemble(feedtest.Read(t, file))
	first, members := e.Start, e.Members
	if err != nil {
		t.Fatal(err)
	}
	if n := feedtest.CompareMembers(t, file, first, members); n != 31 {
		t.Errorf("%d values were compared, want 31", n)
	}
	// Two models, a member missing, a key that is no member.
	e, err = openmeteo.DecodeEnsemble(ensembleBody(noon, 5, "precipitation_b", "precipitation_member01_b",
		"precipitation_member03_b", "precipitation_member01_a", "precipitation_a", "precipitation_spread",
		"temperature_2m_member01_a"))
	members = e.Members
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, m := range members {
		names = append(names, m.Name)
	}
	if got, want := strings.Join(names, " "), "control_a member01_a control_b member01_b member03_b"; got != want {
		t.Errorf("members are %s, want %s", got, want)
	}
	rain := members[1].Values[forecast.RainMM]
	if rain[0] != 3.01 || !math.IsNaN(rain[4]) {
		t.Errorf("the rain of member01_a is %v, want that of the hour's end first and the last unknown", rain)
	}
	for name, body := range map[string][]byte{
		"one run":          ensembleBody(noon, 5, "precipitation"),
		"out of range":     ensembleBody(noon, 5, "precipitation", "x", "precipitation_member01", "y"),
		"too many members": ensembleBody(noon, 1, manyKeys(500)...),
		"too many columns": ensembleBody(noon, 1, manyKeys(5000)...),
		"too many hours":   ensembleBody(noon, forecast.MaxHours+1, "precipitation", "precipitation_member01"),
	} {
		if name == "out of range" {
			body = bytes.Replace(body, []byte("2.01"), []byte("-777"), 1)
		}
		if _, err := openmeteo.DecodeEnsemble(body); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: error is %v, want %v", name, err, fault.Invalid)
		}
	}
}

func manyKeys(n int) []string {
	keys := make([]string, n)
	for i := range keys {
		keys[i] = fmt.Sprintf("precipitation_member%04d", i)
	}
	return keys
}
