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

	"dryslot/internal/message"
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
	rain := message.New(job.RainReachesPad, message.Name("pad", "A5"), message.At("rain", start.Add(8*time.Hour)),
		message.At("set", start.Add(9*time.Hour)), message.Chance("", 0.0645))
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
			Verdict:    job.VerdictCare,
			Window:     &job.Window{Start: start.Add(-20 * time.Minute), LatestStart: start.Add(105 * time.Minute)},
			Pads:       pads,
			ReasonData: rain,
			Cautions: []job.Caution{
				{Code: "times-are-estimates", Severity: job.Note,
					Data: []message.Message{message.New(job.CautionEstimates)}},
				{Code: "wet-base", Severity: job.Watch, Data: []message.Message{message.New(job.CautionWetBase,
					message.Duration("clear", 5*time.Minute), message.Chance("", 0.26))}},
				{Code: "thunder", Severity: job.Act, Data: []message.Message{message.New(job.CautionThunder,
					message.Duration("wait", 30*time.Minute), message.Chance("", 0.19))}},
			},
			Forecast: &job.ForecastNote{Feed: "open-meteo", FetchedAt: at(t, "2026-11-25T18:18:00-08:00"), AgeMin: 42,
				Members: 31, Attribution: "Weather data by Open-Meteo.com, CC BY 4.0"},
		},
		Pour: &pour.Pour{Date: unit.Date{Year: 2026, Month: 11, Day: 26}, Start: start,
			End: start.Add(5*time.Hour + 10*time.Minute), Pads: []string{"A1", "A3", "A5"}, ChanceUnharmed: 0.932,
			Bags: 11, WaterL: 30.8, WhyData: rain,
			CoversData: []message.Message{message.New(job.CoverOver, message.Term("cover", "blanket"),
				message.Names("pads", []string{"A1", "A3"}))}},
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
			Verdict: job.VerdictHold, ReasonData: message.New(job.RainReachesPad, message.Name("pad", "P1"),
				message.At("rain", at(t, "2026-11-27T11:00:00Z")), message.At("set", at(t, "2026-11-27T14:20:00Z")),
				message.Chance("", 0.42)),
			Cautions: []job.Caution{{Code: "unknown-weather", Severity: job.Act,
				Data: []message.Message{message.New(job.CautionUnknownWeather)}}},
			Forecast: &job.ForecastNote{Feed: "replay", FetchedAt: at(t, "2026-11-27T02:10:00Z"), AgeMin: 170,
				Members: 1, Attribution: "Invented sample weather"},
		},
		Next: &pour.Pour{Date: unit.Date{Year: 2026, Month: 11, Day: 29}, Start: at(t, "2026-11-29T07:40:00Z"),
			Pads: []string{"P1", "P2"}},
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
	b.Morning.Forecast, b.Sample, b.Morning.ReasonData = nil, false, message.Message{}
	b.Morning.Cautions = []job.Caution{{Code: "no-forecast", Severity: job.Act,
		Data: []message.Message{message.New(job.CautionNoForecast)}}}
	out["evening-no-forecast-late"] = b

	b = stands(t)
	b.Kind, b.SetClock = Change, true
	b.Now, b.DueAt = at(t, "2026-11-26T22:15:00Z"), at(t, "2026-11-26T22:15:00Z")
	b.Morning.Verdict, b.Morning.Cautions = job.VerdictPour, nil
	b.Told = &Told{Kind: Evening, At: at(t, "2026-11-26T19:00:00Z"), Verdict: job.VerdictHold}
	b.Pour = &pour.Pour{Start: at(t, "2026-11-27T08:00:00Z"), End: at(t, "2026-11-27T12:30:00Z"), Pads: []string{"P1"},
		Bags: 1, WaterL: 2.8, ChanceUnharmed: 0.96, WhyData: message.New(job.NothingThreatens,
			message.Name("pad", "P1"), message.At("set", at(t, "2026-11-27T13:30:00Z")))}
	b.Next = nil
	out["change-to-pour"] = b

	b = stands(t)
	b.Kind = Change
	out["change-to-hold"] = b

	b = stands(t)
	b.Kind, b.Told = Evening, nil
	b.Now, b.DueAt = at(t, "2026-11-26T19:00:00Z"), at(t, "2026-11-26T19:00:00Z")
	b.Morning.Verdict, b.Morning.Cautions, b.Morning.ReasonData = job.VerdictPour, nil, message.New(job.FormsFull,
		message.Name("forms", "F1"), message.Names("pads", []string{"P3", "P4"}),
		message.At("", at(t, "2026-11-28T07:00:00Z")))
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
		if p.Data.Text != m.Text || p.Data.Key != b.Key || p.Type != "alert."+string(b.Kind) || p.Data.Pads == nil ||
			p.Data.Cautions == nil {
			t.Errorf("%s: the payload tells something else: %s", name, m.Payload)
		}
		if (b.Morning.Verdict == job.VerdictHold) != (p.Data.Verdict == job.VerdictHold && len(p.Data.Pads) == 0) &&
			b.Pour != nil {
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
	for name, b := range map[string]Brief{"morning-pour-es": briefs(t)["morning-pour-us"],
		"evening-care-es": briefs(t)["evening-care-us"], "change-to-hold-es": briefs(t)["change-to-hold"]} {
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
		b.Project.Name, b.Pour.Pads[0] = name, pad
		b.Pour.WhyData, b.Pour.Why = message.Message{}, reason
		b.Morning.Cautions[1].Data = []message.Message{message.New(job.CautionWetBase,
			message.Duration("clear", 5*time.Minute), message.Number("chance", figure))}
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
		{"the start has passed and nothing is logged", func(b *Brief) {
			b.Now, b.Pour.Start = b.Told.Start.Add(time.Hour),
				b.Told.Start.Add(90*time.Minute)
		}, never, false},
		{"the start has passed and the rest is called off", func(b *Brief) {
			b.Now,
				b.Morning.Verdict = b.Told.Start.Add(time.Hour), job.VerdictHold
		}, never, true},
		{"to hold", func(b *Brief) { b.Morning.Verdict = job.VerdictHold }, never, true},
		{"no pour any more", func(b *Brief) { b.Pour = nil }, never, true},
		{"from hold to pour", func(b *Brief) { *b.Told = Told{Verdict: job.VerdictHold} }, never, true},
		{"hold as before", func(b *Brief) {
			b.Morning.Verdict = job.VerdictHold
			*b.Told = Told{Verdict: job.VerdictHold}
		},
			never, false},
		{"one pad fewer", func(b *Brief) { b.Pour.Pads = b.Pour.Pads[:2] }, never, true},
		{"one pad fewer because it is placed", func(b *Brief) { b.Pour.Pads = b.Pour.Pads[1:] }, placed("A1"), false},
		{"under way, the start moves with the work", func(b *Brief) {
			b.Pour.Pads, b.Pour.Start = b.Pour.Pads[1:], b.Pour.Start.Add(2*time.Hour)
		}, placed("A1"), false},
		{"under way, the rest is called off", func(b *Brief) {
			b.Morning.Verdict = job.VerdictHold
		}, placed("A1"), true},
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
	if got.Kind != Evening || got.Verdict != job.VerdictCare || got.Verdict != p.Data.Verdict ||
		!got.Start.Equal(*p.Data.Start) ||
		!reflect.DeepEqual(got.Pads, p.Data.Pads) || !got.At.Equal(p.Timestamp) {
		t.Errorf("it says %+v, its payload %+v", got, p)
	}
}

func plain(s string) string { return strings.ReplaceAll(s, nbsp, " ") }

func TestASubjectBeginsWithACapital(t *testing.T) {
	for said, want := range map[string]string{"stop": "Stop", "¿ya empezó?": "¿Ya empezó?", "¡tape ya!": "¡Tape ya!",
		"Árbol": "Árbol", "¿": "¿", "": ""} {
		if got := capital(said); got != want {
			t.Errorf("%q: %q, want %q", said, got, want)
		}
	}
}
