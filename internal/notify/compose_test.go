package notify

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

var update = flag.Bool("update", false, "write the golden texts anew")

// shelter is an invented project near Tacoma, in US customary units.
func shelter(t *testing.T) Brief {
	la := zone(t, "America/Los_Angeles")
	start := at(t, "2026-11-26T07:05:00-08:00")
	pads := []job.PadTimes{}
	for i, n := range []string{"A1", "A3", "A5"} {
		s := start.Add(30*time.Minute + time.Duration(i)*55*time.Minute)
		pads = append(pads, job.PadTimes{Pad: n, PlaceStart: s, PlaceEnd: s.Add(50 * time.Minute)})
	}
	return Brief{
		Key: "p1/evening/2026-11-26/r1", Kind: Evening, Zone: la, Date: unit.Date{Year: 2026, Month: 11, Day: 26},
		Now: at(t, "2026-11-25T19:00:02-08:00"), DueAt: at(t, "2026-11-25T19:00:00-08:00"),
		Project: pour.Project{ID: "p1", Spec: pour.Spec{Name: "Bicycle shelter base", Units: "us", Alerts: usual}},
		Morning: job.Morning{
			Verdict: job.VerdictCare,
			Window:  &job.Window{Start: start.Add(-20 * time.Minute), LatestStart: start.Add(105 * time.Minute)},
			Pads:    pads,
			Reason:  "rain before 18:00 comes in 2 of 31 forecasts",
			Cautions: []job.Caution{
				{Code: "washout", Severity: job.Note, Text: "Keep the washout out of drains."},
				{Code: "puddles", Severity: job.Watch, Text: "Rain in the night leaves puddles: clear the forms before mixing.",
					Figure: &job.Figure{Name: "night_rain_mm", Value: 7.4, Limit: 5}},
				{Code: "cold-overnight", Severity: job.Act, Text: "The slab comes near freezing before it is safe from frost: lay the insulating blankets by dusk and leave them until 09:00 on Friday.",
					Figure: &job.Figure{Name: "slab_min_c", Value: 1.2, Limit: 5}, Source: "ACI 306R-16"},
			},
			Forecast: &job.ForecastNote{Feed: "open-meteo", FetchedAt: at(t, "2026-11-25T18:18:00-08:00"), AgeMin: 42, Members: 31,
				Attribution: "Weather data by Open-Meteo.com, CC BY 4.0"},
		},
		Pour: &pour.Pour{Date: unit.Date{Year: 2026, Month: 11, Day: 26}, Start: start, End: start.Add(5*time.Hour + 10*time.Minute),
			Pads: []string{"A1", "A3", "A5"}, ChanceUnharmed: 0.932, Bags: 11, WaterL: 30.8, Covers: []string{"A1 and A3 with a blanket"},
			Why: "The last pad sets at about 15:30; rain before 18:00 comes in 2 of 31 forecasts."},
		Link: "https://pads.example/p/p1",
	}
}

// stands is an invented project near Porto, in metric units, on sample weather.
func stands(t *testing.T) Brief {
	lisbon := zone(t, "Europe/Lisbon")
	return Brief{
		Key: "p2/morning/2026-11-27/r1", Kind: Morning, Zone: lisbon, Date: unit.Date{Year: 2026, Month: 11, Day: 27},
		Now: at(t, "2026-11-27T05:00:00Z"), DueAt: at(t, "2026-11-27T05:00:00Z"), Sample: true,
		Project: pour.Project{ID: "p2", Spec: pour.Spec{Name: "Water tank plinths", Units: "metric", Alerts: usual}},
		Morning: job.Morning{
			Verdict: job.VerdictHold, Reason: "rain from 11:00 in 17 of 40 weathers would reach every pad before it sets",
			Cautions: []job.Caution{{Code: "rain", Severity: job.Act, Text: "Rain is likely while the pads are soft.",
				Figure: &job.Figure{Name: "lost_chance", Value: 0.42, Limit: 0.1}}},
			Forecast: &job.ForecastNote{Feed: "replay", FetchedAt: at(t, "2026-11-27T02:10:00Z"), AgeMin: 170, Members: 1, Attribution: "Invented sample weather"},
		},
		Next: &pour.Pour{Date: unit.Date{Year: 2026, Month: 11, Day: 29}, Start: at(t, "2026-11-29T07:40:00Z"), Pads: []string{"P1", "P2"}},
		Told: &Told{Kind: Evening, At: at(t, "2026-11-26T19:00:00Z"), Verdict: job.VerdictPour,
			Start: at(t, "2026-11-27T07:20:00Z"), Pads: []string{"P1", "P2"}},
		Link: "https://pads.example/p/p2",
	}
}

// wording is what an alert is worded by.
func wording(b Brief) say.Reader {
	r := say.HabitsOf("en")
	if b.Project.Units == "us" {
		r = say.HabitsOf("en-US")
	}
	r.Zone, r.Today = b.Zone, unit.DateOf(b.Now, b.Zone)
	return r
}

func briefs(t *testing.T) map[string]Brief {
	out := map[string]Brief{"evening-care-us": shelter(t), "morning-turned-hold": stands(t)}

	b := shelter(t)
	b.Kind, b.Morning.Verdict, b.Morning.Cautions = Morning, job.VerdictPour, nil
	b.Pour.Covers = nil
	b.Now, b.DueAt = at(t, "2026-11-26T05:35:00-08:00"), at(t, "2026-11-26T05:35:00-08:00")
	out["morning-pour-us"] = b

	b = stands(t)
	b.Kind, b.Told, b.Next = Evening, nil, nil
	b.Now, b.DueAt = at(t, "2026-11-26T21:40:00Z"), at(t, "2026-11-26T19:00:00Z")
	b.Morning.Forecast, b.Sample, b.Morning.Reason = nil, false, ""
	b.Morning.Cautions = []job.Caution{{Code: "no-forecast", Severity: job.Act, Text: "No forecast has come yet, so nothing can be promised."}}
	out["evening-no-forecast-late"] = b

	b = stands(t)
	b.Kind, b.SetClock = Change, true
	b.Now, b.DueAt = at(t, "2026-11-26T22:15:00Z"), at(t, "2026-11-26T22:15:00Z")
	b.Morning.Verdict, b.Morning.Cautions = job.VerdictPour, nil
	b.Told = &Told{Kind: Evening, At: at(t, "2026-11-26T19:00:00Z"), Verdict: job.VerdictHold}
	b.Pour = &pour.Pour{Start: at(t, "2026-11-27T08:00:00Z"), End: at(t, "2026-11-27T12:30:00Z"), Pads: []string{"P1"}, Bags: 1, WaterL: 2.8, ChanceUnharmed: 0.96,
		Why: "the rain has moved to the evening"}
	b.Next = nil
	out["change-to-pour"] = b

	b = stands(t)
	b.Kind = Change
	out["change-to-hold"] = b

	b = stands(t)
	b.Kind, b.Told = Evening, nil
	b.Now, b.DueAt = at(t, "2026-11-26T19:00:00Z"), at(t, "2026-11-26T19:00:00Z")
	b.Morning.Verdict, b.Morning.Cautions, b.Morning.Reason = job.VerdictPour, nil, "the forms are held by pads that can't be stripped before Saturday"
	out["evening-nothing-to-pour"] = b

	b = shelter(t)
	b.Kind = Test
	b.Now, b.DueAt = at(t, "2026-11-25T15:12:00-08:00"), at(t, "2026-11-25T15:12:00-08:00")
	out["test"] = b
	return out
}

func TestWords(t *testing.T) {
	for name, b := range briefs(t) {
		m, err := Compose(b, wording(b))
		if err != nil {
			t.Fatal(err)
		}
		golden(t, name, m)
		var p Payload
		if err := json.Unmarshal(m.Payload, &p); err != nil {
			t.Fatal(err)
		}
		if p.Data.Text != m.Text || p.Data.Key != b.Key || p.Type != "alert."+string(b.Kind) || p.Data.Pads == nil || p.Data.Cautions == nil {
			t.Errorf("%s: the payload tells something else: %s", name, m.Payload)
		}
		if (b.Morning.Verdict == job.VerdictHold) != (p.Data.Verdict == job.VerdictHold && len(p.Data.Pads) == 0) && b.Pour != nil {
			t.Errorf("%s: payload's verdict is %s with pads %v", name, p.Data.Verdict, p.Data.Pads)
		}
	}
}

// Someone who has just woken reads one line: whether to mix, when, and which.
func TestTheFirstLineSaysWhetherWhenAndWhich(t *testing.T) {
	many := shelter(t)
	many.Kind, many.Pour.Pads = Morning, nil
	for i := range 60 {
		many.Pour.Pads = append(many.Pour.Pads, fmt.Sprintf("North yard %d", i))
	}
	all := briefs(t)
	all["sixty pads"] = many
	for name, b := range all {
		if b.Kind == Test {
			continue
		}
		m, err := Compose(b, wording(b))
		if err != nil {
			t.Fatal(err)
		}
		first, _, _ := strings.Cut(m.Text, "\n")
		want := []string{"DON'T POUR"}
		switch {
		case b.pours() && len(b.Pour.Pads) > 10:
			want = []string{"POUR", "7:05 am", "60 pads"}
		case b.pours():
			want = []string{"POUR", plain(wording(b).Clock(b.Pour.Start)), strings.Join(b.Pour.Pads, ", ")}
		case b.nothingPlanned():
			want = []string{"NOTHING TO POUR"}
		}
		for _, w := range want {
			if !strings.Contains(first, w) {
				t.Errorf("%s: the first line is %q, without %q", name, first, w)
			}
			if !strings.Contains(strings.ToLower(m.Subject), strings.ToLower(w)) {
				t.Errorf("%s: the subject is %q, without %q", name, m.Subject, w)
			}
		}
		if !strings.Contains(m.Subject, b.Project.Name) {
			t.Errorf("%s: the subject %q does not say which site", name, m.Subject)
		}
	}
}

// An alert in Spanish, whole, with the same figures.
func TestAnAlertInSpanish(t *testing.T) {
	for name, b := range map[string]Brief{"morning-pour-es": briefs(t)["morning-pour-us"], "change-to-hold-es": briefs(t)["change-to-hold"]} {
		r := wording(b)
		r.Language, r.Clock12 = "es-419", true
		m, err := Compose(b, r)
		if err != nil {
			t.Fatal(err)
		}
		golden(t, name, m)
	}
}

// golden compares an alert with the one in testdata.
func golden(t *testing.T, name string, m Message) {
	t.Helper()
	got := "Subject: " + m.Subject + "\n\n" + m.Text
	path := filepath.Join("testdata", name+".txt")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s: got\n%s\nwant\n%s", name, got, want)
	}
}

func TestSampleWeatherSaysSo(t *testing.T) {
	for name, b := range briefs(t) {
		b.Sample = true
		m, err := Compose(b, wording(b))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(m.Text, "SAMPLE WEATHER, NOT FOR REAL POURS.") {
			t.Errorf("%s hides that its weather is invented", name)
		}
	}
}

// FuzzCompose holds the form of every message, whatever a builder typed.
func FuzzCompose(f *testing.F) {
	f.Add("Bicycle shelter base", "A1", "rain from 13:00", 1.2, false)
	f.Add("x\r\nBcc: someone@example.org", strings.Repeat("W", 300), "\x00 ", -40.0, true)
	f.Add("名前 çãé", "パッド", strings.Repeat("long ", 100), 1e300, true)
	f.Fuzz(func(t *testing.T, name, pad, reason string, figure float64, us bool) {
		tt := &testing.T{}
		b := shelter(tt)
		b.Project.Name, b.Pour.Pads[0], b.Pour.Why = name, pad, reason
		b.Morning.Cautions[1].Figure.Value = figure
		if !us {
			b.Project.Units = "metric"
		}
		m, err := Compose(b, wording(b))
		if err != nil {
			return // a figure that is not a number can't be sent as JSON, and is refused
		}
		if strings.ContainsAny(m.Subject, "\r\n") {
			t.Errorf("subject of several lines: %q", m.Subject)
		}
		for _, line := range strings.Split(m.Text, "\n") {
			if n := utf8.RuneCountInString(line); n > width && !strings.Contains(line, "://") {
				t.Errorf("line of %d characters: %q", n, line)
			}
		}
	})
}

func TestChangedIsWhatABuilderWouldActOn(t *testing.T) {
	never := func(string) bool { return false }
	placed := func(pads ...string) func(string) bool {
		return func(p string) bool { return strings.Contains(" "+strings.Join(pads, " ")+" ", " "+p+" ") }
	}
	base := func() Brief {
		b := shelter(t)
		b.Told = &Told{Verdict: job.VerdictPour, Start: b.Pour.Start, Pads: []string{"A1", "A3", "A5"}}
		return b
	}
	for _, c := range []struct {
		name string
		mend func(*Brief)
		done func(string) bool
		want bool
	}{
		{"the same", func(*Brief) {}, never, false},
		{"from pour to care", func(b *Brief) { b.Morning.Verdict = job.VerdictCare }, never, false},
		{"another order", func(b *Brief) { b.Pour.Pads = []string{"A5", "A3", "A1"} }, never, false},
		{"20 minutes later", func(b *Brief) { b.Told.Start = b.Told.Start.Add(-20 * time.Minute) }, never, false},
		{"an hour earlier", func(b *Brief) { b.Told.Start = b.Told.Start.Add(time.Hour) }, never, true},
		{"the start has passed and nothing is logged", func(b *Brief) { b.Now, b.Pour.Start = b.Told.Start.Add(time.Hour), b.Told.Start.Add(90*time.Minute) }, never, false},
		{"the start has passed and the rest is called off", func(b *Brief) { b.Now, b.Morning.Verdict = b.Told.Start.Add(time.Hour), job.VerdictHold }, never, true},
		{"to hold", func(b *Brief) { b.Morning.Verdict = job.VerdictHold }, never, true},
		{"no pour any more", func(b *Brief) { b.Pour = nil }, never, true},
		{"from hold to pour", func(b *Brief) { *b.Told = Told{Verdict: job.VerdictHold} }, never, true},
		{"hold as before", func(b *Brief) { b.Morning.Verdict = job.VerdictHold; *b.Told = Told{Verdict: job.VerdictHold} }, never, false},
		{"one pad fewer", func(b *Brief) { b.Pour.Pads = b.Pour.Pads[:2] }, never, true},
		{"one pad fewer because it is placed", func(b *Brief) { b.Pour.Pads = b.Pour.Pads[1:] }, placed("A1"), false},
		{"under way, the start moves with the work", func(b *Brief) {
			b.Pour.Pads, b.Pour.Start = b.Pour.Pads[1:], b.Pour.Start.Add(2*time.Hour)
		}, placed("A1"), false},
		{"under way, the rest is called off", func(b *Brief) { b.Morning.Verdict = job.VerdictHold }, placed("A1"), true},
		{"all placed", func(b *Brief) { b.Pour = nil }, placed("A1", "A3", "A5"), false},
		{"never told", func(b *Brief) { b.Told = nil }, never, false},
	} {
		b := base()
		c.mend(&b)
		if got := b.Changed(c.done); got != c.want {
			t.Errorf("%s: changed is %v", c.name, got)
		}
	}
}

// What is kept of an alert is what its payload tells a program.
func TestWhatAnAlertSaysIsWhatItsPayloadTells(t *testing.T) {
	b := shelter(t)
	m, err := Compose(b, wording(b))
	if err != nil {
		t.Fatal(err)
	}
	var p Payload
	if err := json.Unmarshal(m.Payload, &p); err != nil {
		t.Fatal(err)
	}
	got := b.Says()
	if got.Kind != Evening || got.Verdict != job.VerdictCare || got.Verdict != p.Data.Verdict || !got.Start.Equal(*p.Data.Start) ||
		!reflect.DeepEqual(got.Pads, p.Data.Pads) || !got.At.Equal(p.Timestamp) {
		t.Errorf("it says %+v, its payload %+v", got, p)
	}
}

// Exact conversions: NIST SP 811, appendix B.
func TestFigures(t *testing.T) {
	for _, c := range []struct {
		name         string
		value, limit float64
		metric, us   string
	}{
		{"slab_min_c", 1.2, 5, "1 °C, limit 5 °C", "34 °F, limit 41 °F"},
		{"drop_k", 28, 28, "28 K, limit 28 K", "50 °F, limit 50 °F"},
		{"peak_kg_m2_h", 0.734, 1, "0.73 kg/m2/h, limit 1 kg/m2/h", "0.15 lb/ft2/h, limit 0.2 lb/ft2/h"},
		{"gust_m_s", 14, 12, "14 m/s, limit 12 m/s", "31 mph, limit 27 mph"},
		{"night_rain_mm", 7.4, 5, "7.4 mm, limit 5 mm", "0.29 in, limit 0.2 in"},
		{"lost_chance", 0.42, 0.1, "42 %, limit 10 %", "42 %, limit 10 %"},
		{"thickness_m", 0.075, 0.1, "0.08 m, limit 0.1 m", "0.2 ft, limit 0.3 ft"},
		{"lifting_index", 1.333, 1, "1.33, limit 1", "1.33, limit 1"},
		{"air_c", -0.2, 5, "0 °C, limit 5 °C", "32 °F, limit 41 °F"},
	} {
		f := &job.Figure{Name: c.name, Value: c.value, Limit: c.limit}
		if got := plain(figureWords(f, "metric")); got != c.metric {
			t.Errorf("%s: %q, want %q", c.name, got, c.metric)
		}
		if got := plain(figureWords(f, "us")); got != c.us {
			t.Errorf("%s: %q, want %q", c.name, got, c.us)
		}
	}
}

func plain(s string) string { return strings.ReplaceAll(s, nbsp, " ") }
