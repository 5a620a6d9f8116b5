package form

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/url"
	"reflect"
	"strings"
	"testing"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

func ptr[T any](v T) *T { return &v }

// random is a spec that the API may have taken: sizes of one or the other
// system, rows that are regular or not, orders, form sets and covers of any kind.
func random(r *rand.Rand) pour.Spec {
	s := pour.DefaultSpec()
	s.Name, s.Latitude, s.Longitude, s.TimeZone, s.Units = "Job", 47.25, -122.44, "America/Los_Angeles", "us"
	s.ElevationM, s.Language = ptr(80.0), ptr("es-US")
	for i := range r.IntN(4) {
		s.FormSets = append(s.FormSets, pour.FormSet{Name: At("F", i), Count: 1 + r.IntN(3), Cells: 1 + r.IntN(3)})
	}
	for row := range 1 + r.IntN(5) {
		p := pour.Pad{LengthM: 0.4 + math.Round(r.Float64()*3000)/1000, WidthM: 46 * unit.MetresPerInch,
			ThicknessM: 0.075, After: []pour.After{}}
		if r.IntN(2) == 0 {
			p.EdgeThicknessM = ptr(0.15)
		}
		n, across, gap := 1+r.IntN(9), 1+r.IntN(4), float64(r.IntN(3))*0.3
		start := len(s.Pads)
		for k := range n {
			q := p
			q.Name = fmt.Sprintf("%c%d", 'A'+row, k+1)
			q.XM, q.YM = at(pour.Pad{LengthM: p.LengthM, WidthM: p.WidthM, YM: float64(row) * 5}, k, across, gap)
			if r.IntN(9) == 0 {
				q.XM += 0.13
			}
			if len(s.FormSets) > 0 && r.IntN(3) > 0 {
				q.FormSet = &s.FormSets[r.IntN(len(s.FormSets))].Name
			}
			if r.IntN(4) == 0 && len(s.Pads) > 0 {
				q.After = append(q.After, pour.After{Pad: s.Pads[r.IntN(len(s.Pads))].Name, Until: pour.Placed})
			}
			s.Pads = append(s.Pads, q)
		}
		if r.IntN(3) == 0 {
			made := s.Pads[start:]
			for k, after := range alternate(names(made), min(across, n)) {
				made[k].After = after
			}
		}
	}
	counted := time.Date(2026, 11, 1, 8, 0, 0, 0, time.UTC)
	s.Stock = pour.Stock{BagsOnHand: ptr(12), CountedAt: &counted,
		Deliveries: []pour.Delivery{{Date: unit.Date{Year: 2026, Month: 11, Day: 28}, Bags: 40}},
		Covers: []pour.Cover{{Kind: "plastic", Pads: 4}, {Kind: "blanket", Pads: 2, ResistanceM2KW: ptr(0.35)},
			{Kind: "blanket", Pads: 1}}}
	s.Mix.WaterTemperatureC, s.Limits.RainRisk, s.Site.MorningShadeUntil = ptr(48.89), 0.075, ptr(unit.Clock(9*60))
	s.Site.AfternoonShadeFrom, s.Site.BaseCovered = ptr(unit.Clock(15*60+30)), r.IntN(2) == 0
	practised(r, &s)
	return s
}

func text(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// A form that is posted as it was shown changes nothing, in either system of units.
func TestAFormThatIsNotTouchedChangesNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for i := range 400 {
		s := random(r)
		for _, lang := range say.Languages() {
			reader := say.HabitsOf(lang)
			s.Units = map[bool]string{true: "us", false: "metric"}[reader.US]
			v := Of(s, reader)
			got := Read(v, s, reader)
			if len(got.Wrong) > 0 {
				t.Fatalf("%d, %s: %+v", i, lang, got.Wrong)
			}
			if a, b := text(t, s), text(t, got.Spec); a != b {
				t.Fatalf("%d, %s:\n%s\nbecame\n%s", i, lang, a, b)
			}
		}
	}
}

func TestTheExampleCanBePlannedOnceItHasAPlace(t *testing.T) {
	for _, lang := range say.Languages() {
		reader := say.HabitsOf(lang)
		v := Example(reader, "Pads")
		v.Set("place", "47.25, -122.44")
		got := Read(v, pour.DefaultSpec(), reader)
		if err := got.Spec.Validate(); err != nil || len(got.Wrong) > 0 {
			t.Errorf("%s: %v, %+v", lang, err, got.Wrong)
		}
		if s := got.Spec; len(s.Pads) != 6 || s.Pads[4].FormSet == nil || *s.Pads[4].FormSet != "F1" ||
			s.Latitude != 47.25 || s.Pads[5].YM == 0 {
			t.Errorf("%s: %s", lang, text(t, s))
		}
	}
}

func read(change map[string]string) Got {
	r := say.HabitsOf("en-US")
	v := Example(r, "Pads")
	for name, value := range change {
		v.Set(name, value)
	}
	return Read(v, pour.DefaultSpec(), r)
}

func TestWhatIsTypedIsReadAsItIsMeant(t *testing.T) {
	got := read(map[string]string{"place": "47.25N 122.44W", "letter0": "H", "across0": "4", "rows0": "1",
		"gap0": "22 in", "length0": `3'10"`,
		"width0": "46 in", "thick0": "3 1/2", "edge0": "150 mm", "for0": "H pads", "bag": "60 lb", "price": "$5.98",
		"water": "2 qt", "water_max": "2.5 qt", "payload": "1,000 lb", "earliest": "6 am", "latest": "18:30",
		"water_temp": "120 F", "waste": "8%", "on_hand": "12"})
	s := got.Spec
	if len(got.Wrong) > 0 {
		t.Fatalf("%+v", got.Wrong)
	}
	p := s.Pads[3]
	for what, c := range map[string][2]float64{"latitude": {s.Latitude, 47.25}, "longitude": {s.Longitude, -122.44},
		"length": {p.LengthM, 1.1684}, "width": {p.WidthM, 1.1684}, "thickness": {p.ThicknessM, 0.0889},
		"edge": {*p.EdgeThicknessM, 0.15}, "x": {p.XM, 3 * (1.1684 + 0.5588)}, "bag": {s.Mix.BagKg, 27.215542},
		"yield": {s.Mix.YieldLPerBag, 12.75}, "price": {*s.Mix.PricePerBag, 5.98}, "water": {s.Mix.WaterLPerBag,
			1.892706}, "payload": {s.Crew.VehiclePayloadKg, 453.59237}, "hot water": {*s.Mix.WaterTemperatureC, 48.89},
		"waste": {s.WasteFraction, 0.08}, "earliest": {float64(s.Crew.EarliestStart), 360},
		"latest": {float64(s.Crew.LatestFinish), 1110},
		"pads":   {float64(len(s.Pads)), 4}, "stock": {float64(*s.Stock.BagsOnHand), 12}} {
		if math.Abs(c[0]-c[1]) > 1e-4 {
			t.Errorf("%s is %v, want %v", what, c[0], c[1])
		}
	}
	if p.Name != "H4" || *p.FormSet != "F1" {
		t.Errorf("the last pad is %s", text(t, p))
	}
}

func TestWhatCantBeReadIsToldAtItsField(t *testing.T) {
	for field, value := range map[string]string{"length0": "4 psi", "across0": "0", "rows0": "101", "for0": "Q",
		"count0": "two", "bag": "80 in", "water": "3 lb",
		"price": "cheap", "earliest": "7", "risk": "ten", "thick0": "-3 in", "edge0": "?", "gap0": "x",
		"payload": "1 t", "people": "", "water_temp": "hot"} {
		got := read(map[string]string{field: value})
		if len(got.Wrong) != 1 || got.Wrong[0].Path != field || got.Wrong[0].Value != value {
			t.Errorf("%s = %q: %+v", field, value, got.Wrong)
		}
	}
	got := read(map[string]string{"thick0": "1 in", "count0": "0", "name": "", "latest": "5:00", "edge0": "0.5 in",
		"bags0": "0", "date0": "2026-11-28", "blanket": "-1"})
	err := got.Spec.Validate()
	for _, field := range []string{"thick0", "count0", "name", "latest", "edge0", "bags0", "blanket"} {
		found := false
		for _, path := range paths(err) {
			found = found || got.Field(path) == field
		}
		if !found {
			t.Errorf("no fault of %s among %v", field, paths(err))
		}
	}
}

func TestRowsAreAddedAndDropped(t *testing.T) {
	v := Example(say.HabitsOf("en-US"), "Pads")
	before := len(v)
	Press(v, "add row")
	Press(v, "add row")
	v.Set("length2", "9 ft")
	if Rows.Count(v) != 3 || v.Get("letter1") != "B" || v.Get("letter2") != "C" || v.Get("width2") != v.Get("width0") {
		t.Errorf("added: %v", v)
	}
	Press(v, "drop row 1")
	if Rows.Count(v) != 2 || v.Get("length1") != "9 ft" || v.Get("letter1") != "C" || v.Has("length2") {
		t.Errorf("dropped: %v", v)
	}
	Press(v, "drop row 1")
	if len(v) != before {
		t.Errorf("%d values, %d before", len(v), before)
	}
	for _, press := range []string{"drop row 9", "drop row -1", "drop row x", "add form", "add delivery",
		"drop form 1"} {
		if !Press(v, press) {
			t.Errorf("%s is no button", press)
		}
	}
	if Press(v, "keep") || Press(v, "") || Rows.Count(v) != 1 || Forms.Count(v) != 1 || Deliveries.Count(v) != 1 {
		t.Errorf("at last: %v", v)
	}
	for range 200 {
		Press(v, "add row")
	}
	if n := Rows.Count(v); n != Rows.Most {
		t.Errorf("%d rows", n)
	}
}

func TestCoordinates(t *testing.T) {
	for typed, want := range map[string][2]float64{"47.25, -122.44": {47.25, -122.44}, "47.25 -122.44": {47.25,
		-122.44}, "47.25°N, 122.44°W": {47.25, -122.44},
		"19.43 N 99.13 O": {19.43, -99.13}, "47,25; -122,44": {47.25, -122.44}, "(−33.9, 151.2)": {-33.9, 151.2},
		"33.9 S 151.2 E": {-33.9, 151.2}} {
		lat, lon, ok := Coordinates(typed)
		if !ok || lat != want[0] || lon != want[1] {
			t.Errorf("%q: %v, %v, %v", typed, lat, lon, ok)
		}
	}
	for _, typed := range []string{"", "Tacoma, WA", "98402", "47.25", "1, 2, 3", "N S", "47 N", "NaN, 1", "1e999, 1"} {
		if _, _, ok := Coordinates(typed); ok {
			t.Errorf("%q is read as coordinates", typed)
		}
	}
}

// Whatever is posted, reading ends, says what is wrong by field, and makes no
// more pads than a project may have.
func FuzzRead(f *testing.F) {
	f.Add(Example(say.HabitsOf("en-US"), "Pads").Encode())
	f.Add(Example(say.HabitsOf("es-419"), "Pads").Encode())
	f.Add("letter0=A&across0=100&rows0=100&letter1=B&across1=100&rows1=4&was0=A1%09A2&for0=A&set0=x&water=")
	f.Fuzz(func(t *testing.T, body string) {
		v, err := url.ParseQuery(body)
		if err != nil {
			return
		}
		got := Read(v, pour.DefaultSpec(), say.HabitsOf("en-US"))
		if len(got.Spec.Pads) > pour.MaxPads || len(got.Spec.FormSets) > pour.MaxFormSets {
			t.Errorf("%d pads", len(got.Spec.Pads))
		}
		for _, w := range got.Wrong {
			if w.Path == "" || w.Rule.Code == "" {
				t.Errorf("%+v", w)
			}
		}
		again := Read(v, pour.DefaultSpec(), say.HabitsOf("en-US"))
		if !reflect.DeepEqual(got.Spec.Pads, again.Spec.Pads) {
			t.Error("read twice, it is not the same")
		}
	})
}

// One pad's form changes that pad alone, and nothing where it is not touched.
func TestAPadIsChangedAlone(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 100 {
		s := random(r)
		i := r.IntN(len(s.Pads))
		for _, lang := range []string{"en-US", "es-419"} {
			reader := say.HabitsOf(lang)
			v := OfPad(s, i, reader)
			if got := ReadPad(v, s, i, reader); text(t, got.Spec) != text(t, s) || len(got.Wrong) > 0 {
				t.Fatalf("pad %d, untouched: %+v\n%s\nbecame\n%s", i, got.Wrong, text(t, s.Pads),
					text(t, got.Spec.Pads))
			}
			v.Set("letter0", "New")
			v.Set("x0", "7 m")
			got := ReadPad(v, s, i, reader).Spec
			for k := range s.Pads {
				p := got.Pads[k]
				if (k == i) != (p.Name == "New") || k == i && p.XM != 7 || k != i && p.XM != s.Pads[k].XM {
					t.Fatalf("pad %d of %d: %s", k, i, text(t, p))
				}
			}
			if !strings.Contains(text(t, s.Pads), `{"pad":"`+s.Pads[i].Name+`"`) == strings.Contains(text(t, got.Pads),
				`{"pad":"New"`) {
				t.Fatalf("those that wait for it: %s", text(t, got.Pads))
			}
			if left := WithoutPad(s, i); len(left.Pads) != len(s.Pads)-1 || strings.Contains(text(t, left.Pads),
				`"`+s.Pads[i].Name+`"`) {
				t.Fatalf("left: %s", text(t, left.Pads))
			}
		}
	}
}
