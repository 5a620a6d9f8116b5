package physics

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"dryslot/internal/checkedtest"
	"dryslot/internal/planner/job"
	"dryslot/internal/takeoff"
	"dryslot/internal/web"
	"dryslot/internal/web/api"
	"dryslot/internal/web/webtest"
)

// sky is invented weather by the hour of the day, the same each day but for what
// drift adds.
type sky struct {
	air, humidity, wind, cloud, sun func(h float64) float64
	// of the hour that begins then; day 1 is the morning
	rain func(day, hour int) (mm, chance float64)
	odd  map[string]string // units that the feed states otherwise than it should
}

func wave(mean, swing float64) func(float64) float64 {
	return func(h float64) float64 { return mean + swing*math.Cos(2*math.Pi*(h-15)/24) }
}

func flat(v float64) func(float64) float64 { return wave(v, 0) }

func arc(top float64) func(float64) float64 {
	return func(h float64) float64 {
		if h = math.Mod(h+240, 24); h <= 6 || h >= 18 {
			return 0
		}
		return top * math.Sin(math.Pi*(h-6)/12)
	}
}

// midnight begins the day before the morning that is looked at; all is in UTC.
var midnight = time.Date(2026, 4, 13, 0, 0, 0, 0, time.UTC)

// scenario is one project under one weather.
type scenario struct {
	name string
	spec string // members of the project
	sky  sky
	slab slabCase // with a thickness: the general-purpose solver answers too
	try  string   // a change, as a question to the planner
	want []expected
}

// expected is one figure, with the independent answer.
type expected struct {
	what, source string
	value, tol   float64
	got          func(a *answers) float64
}

// answers are what the service says of a scenario.
type answers struct {
	Morning  job.Morning
	Takeoff  takeoff.Takeoff
	Forecast struct {
		LeftOut []string `json:"left_out"`
	}
	tried job.Morning // under the change that is tried
}

// slabCase is a case of testdata/slab/scenarios.py.
type slabCase struct {
	Thick     float64   `json:"thick"`
	Ground    string    `json:"ground"`
	Cement    string    `json:"cement"`
	WC        float64   `json:"wc"`
	KgM3      float64   `json:"kgm3"`
	Mix       float64   `json:"mix"`
	PlacedMin float64   `json:"placed_min"`
	Lat       float64   `json:"lat"`
	Lon       float64   `json:"lon"`
	Elev      float64   `json:"elev"`
	WindF     float64   `json:"windf"`
	SetFactor float64   `json:"set_factor"`
	UntilH    float64   `json:"until_h"`
	LeadH     float64   `json:"lead_h"` // of the placing, as the forecast was issued
	Covers    [][]any   `json:"covers"`
	Air       []float64 `json:"air"`
	RH        []float64 `json:"rh"`
	Wind      []float64 `json:"wind"`
	Cloud     []float64 `json:"cloud"`
	SW        []float64 `json:"sw"`

	shadeUntil float64 // hour of the day until which only diffuse light falls
	shadeLeft  float64 // of the direct sun at all hours; 0: all
}

// document is the feed's answer to a query, in the form of Open-Meteo.
func (s *sky) document(q url.Values, lat float64) []byte {
	days := func(name string, otherwise int) int {
		n, err := strconv.Atoi(q.Get(name))
		if err != nil {
			return otherwise
		}
		return n
	}
	past, ahead := days("past_days", 0), days("forecast_days", 7)
	first := midnight.AddDate(0, 0, -past)
	var times []string
	series := map[string][]float64{}
	for i := range 24 * (past + ahead) {
		times = append(times, first.Add(time.Duration(i)*time.Hour).Format("2006-01-02T15:04"))
		h := float64(i % 24)
		mm, chance := 0.0, 0.0
		if s.rain != nil { // the feed tells the hour that has ended
			mm, chance = s.rain((i-1+24)/24-1-past, (i-1+24)%24)
		}
		for name, v := range map[string]float64{"temperature_2m": s.air(h), "relative_humidity_2m": s.humidity(h),
			"wind_speed_10m": s.wind(h), "wind_gusts_10m": 1.5 * s.wind(h),
			"cloud_cover": s.cloud(h), "shortwave_radiation": s.sun(h - 0.5), "precipitation": mm,
			"precipitation_probability": 100 * chance, "snowfall": 0, "weather_code": 2} {
			series[name] = append(series[name], v)
		}
	}
	units := map[string]string{"time": "iso8601"}
	hourly := map[string]any{"time": times}
	for _, name := range strings.Split(q.Get("hourly"), ",") {
		units[name] = map[string]string{"temperature_2m": "°C", "relative_humidity_2m": "%", "precipitation": "mm",
			"precipitation_probability": "%",
			"snowfall":                  "cm", "weather_code": "wmo code", "cloud_cover": "%", "wind_speed_10m": "m/s",
			"wind_gusts_10m": "m/s", "shortwave_radiation": "W/m²"}[name]
		hourly[name] = series[name]
	}
	for name, u := range s.odd {
		units[name] = u
	}
	body, err := json.Marshal(map[string]any{"latitude": lat, "longitude": 0, "generationtime_ms": 0.2,
		"utc_offset_seconds": 0, "timezone": "GMT",
		"timezone_abbreviation": "GMT", "elevation": 0, "hourly_units": units, "hourly": hourly})
	if err != nil {
		panic(err)
	}
	return body
}

// TestPhysicalScenarios asks the API about made-up projects and holds its figures
// against independent answers: a general-purpose solver (scipy's solve_ivp on the
// same equations, written down again), handbook values, and sums by hand. It
// prints the table.
func TestPhysicalScenarios(t *testing.T) {
	all := scenarios()
	h := service(t, func(i int) *sky { return &all[min(i, len(all)-1)].sky })
	said := make([]answers, len(all))
	var cases []slabCase
	for i := range all {
		said[i] = ask(t, h, &all[i], i)
		if all[i].slab.Thick > 0 {
			cases = append(cases, all[i].slabCase(t, &said[i], i))
		}
	}
	solved := solve(t, cases)
	rows, k := 0, 0
	row := func(name string, w expected, got float64) {
		rows++
		ok := math.Abs(got-w.value) <= w.tol
		fmt.Printf("%-34s %-26s %10.4g %10.4g %8.3g  %-5v %s\n", name, w.what, w.value, got, w.tol, ok, w.source)
		checkedtest.Near(t, w.source, name+": "+w.what, got, w.value, w.tol)
	}
	fmt.Printf("%-34s %-26s %10s %10s %8s\n", "scenario", "figure", "independent", "service", "within")
	for i := range all {
		if all[i].slab.Thick > 0 {
			slabRows(t, &all[i], &said[i], solved[k], row)
			k++
		}
		for _, w := range all[i].want {
			row(all[i].name, w, w.got(&said[i]))
		}
	}
	fmt.Printf("scenarios: %d, figures: %d\n", len(all), rows)
	if len(all) < 40 {
		t.Errorf("only %d scenarios", len(all))
	}
}

// service is the service beside a feed that tells the weather of the i-th project.
func service(t *testing.T, weather func(i int) *sky) *webtest.Service {
	t.Helper()
	h := webtest.New(t, func(h *webtest.Service, o web.Options) http.Handler {
		return web.New(o, api.Routes(api.Services{Projects: h.Projects, Alerts: h.Alerts, Forecasts: h.Fetching,
			Accounts: h.People}, h.Rows()))
	})
	h.Now = midnight.Add(issuedH * time.Hour)
	h.Weather = func(r *http.Request) []byte {
		lat, err := strconv.ParseFloat(r.URL.Query().Get("latitude"), 64)
		if err != nil {
			return nil
		}
		return weather(max(0, int(math.Round((lat-firstLat)*10)))).document(r.URL.Query(), lat)
	}
	return h
}

const (
	firstLat = 40.0
	issuedH  = 20 // hour of the day before the morning
)

// ask sets a project up, has its forecast fetched and reads what is said of the
// morning after.
func ask(t *testing.T, h *webtest.Service, s *scenario, i int) answers {
	t.Helper()
	id := settle(t, h, s, i)
	var a answers
	for path, into := range map[string]any{"/mornings/2026-04-14": &a.Morning, "/takeoff": &a.Takeoff,
		"/forecast": &a.Forecast} {
		got := h.Must(t, http.StatusOK, "GET", "/v1/projects/"+id+path, "")
		if err := json.Unmarshal([]byte(got.Body), into); err != nil {
			t.Fatal(err)
		}
	}
	if s.try != "" {
		a.tried = morningOf(t, asked(t, h, id, s.try), a.Morning.Date.String())
	}
	return a
}

// settle sets the i-th project up and has its forecast fetched.
func settle(t *testing.T, h *webtest.Service, s *scenario, i int) string {
	t.Helper()
	spec := s.spec
	if !strings.Contains(spec, `"pads":[{`) {
		spec += `,"pads":[{"name":"P1","length_m":1.2,"width_m":0.9,"thickness_m":` + fmt.Sprint(thickOf(s)) + `}]`
	}
	body := fmt.Sprintf(`{"name":"Scenario %d","latitude":%.1f,"longitude":0,`+
		`"elevation_m":0,"time_zone":"Etc/UTC","units":"metric",%s}`,
		i, firstLat+float64(i)/10, spec)
	id := h.Create(t, h.Token, body)
	h.Refresh(t, id)
	return id
}

func thickOf(s *scenario) float64 {
	if s.slab.Thick > 0 {
		return s.slab.Thick
	}
	return 0.1
}

// slabCase completes a case with the weather and with when the pad is placed, by
// the service's own plan.
func (s *scenario) slabCase(t *testing.T, a *answers, i int) slabCase {
	t.Helper()
	c := s.slab
	if len(a.Morning.Pads) == 0 {
		t.Fatalf("%s: no pad is planned: %s", s.name, a.Morning.Reason)
	}
	p := &a.Morning.Pads[0]
	const daysBefore = 4 // of the morning's midnight
	begin := midnight.AddDate(0, 0, 1-daysBefore)
	c.PlacedMin, c.Lat, c.UntilH = p.PlaceStart.Sub(begin).Minutes(), firstLat+float64(i)/10, 60
	c.LeadH = p.PlaceStart.Sub(midnight.Add(issuedH * time.Hour)).Hours()
	if at := a.Morning.Parts.Temperature.FrostSafeAt; at != nil {
		c.UntilH = at.Sub(p.PlaceStart).Hours()
	}
	if p.Cover != "" {
		from := p.FinishFrom.Add(p.FinishUntil.Sub(*p.FinishFrom) / 2).Sub(p.PlaceStart).Hours()
		resist := 0.0
		if p.Cover == "blanket" {
			resist = 0.35
		}
		c.Covers = [][]any{{p.Cover, from, 70.0, resist}}
	}
	for i := range 24 * 10 {
		h := float64(i % 24)
		cloud, sun := s.sky.cloud(h), s.sky.sun(h+0.5)
		diffuse := 0.2 + 0.8*cloud/100
		if h < c.shadeUntil {
			sun *= diffuse
		} else if c.shadeLeft > 0 {
			sun *= diffuse + c.shadeLeft*(1-diffuse)
		}
		c.Air, c.RH, c.Wind = append(c.Air, s.sky.air(h)), append(c.RH, s.sky.humidity(h)), append(c.Wind,
			s.sky.wind(h))
		c.Cloud, c.SW = append(c.Cloud, cloud), append(c.SW, sun)
	}
	return c
}

type solvedCase struct{ Initial, Final, Coldest float64 }

// solve asks the general-purpose solver.
func solve(t *testing.T, cases []slabCase) []solvedCase {
	t.Helper()
	in, err := json.Marshal(cases)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("/usr/bin/python3", "scenarios.py")
	cmd.Dir, cmd.Stdin, cmd.Stderr = "../../../testdata/slab", bytes.NewReader(in), os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("the general-purpose solver (python3-scipy) can't be run: %v", err)
	}
	var said []solvedCase
	if err := json.Unmarshal(out, &said); err != nil || len(said) != len(cases) {
		t.Fatal(err, len(said))
	}
	return said
}

// coldestTol: the independent answer shifts the feed's own weather by its error, where
// the service solves each of a dozen weathers.
const coldestTol = 1.2

// slabRows compares set and the coldest temperature. The service tells the middle
// of weathers that differ by the forecast's own error, hence the tolerances.
func slabRows(t *testing.T, s *scenario, a *answers, by solvedCase, row func(string, expected, float64)) {
	t.Helper()
	const ivp = "scipy solve_ivp"
	p := &a.Morning.Pads[0]
	if p.InitialSet == nil || p.FinalSet == nil || a.Morning.Parts.Temperature.SlabMinC == nil {
		t.Errorf("%s: set is not told", s.name)
		return
	}
	row(s.name, expected{what: "initial set, h", source: ivp, value: by.Initial, tol: 0.15 * by.Initial},
		p.InitialSet.Sub(p.PlaceStart).Hours())
	row(s.name, expected{what: "final set, h", source: ivp, value: by.Final, tol: 0.15 * by.Final},
		p.FinalSet.Sub(p.PlaceStart).Hours())
	row(s.name, expected{what: "coldest, C", source: ivp, value: by.Coldest, tol: coldestTol},
		*a.Morning.Parts.Temperature.SlabMinC)
}
