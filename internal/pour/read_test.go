package pour

import (
	"encoding/json"
	"errors"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"dryslot/internal/fault"
)

func readText(body string) (Spec, error) {
	n, err := Parse([]byte(body))
	if err != nil {
		return Spec{}, err
	}
	return ReadSpec(n)
}

const least = `{"name":"Well head","latitude":1,"longitude":2,
	"pads":[{"name":"A","length_m":1,"width_m":1,"thickness_m":0.1}]}`

func TestTheLeastProjectHasTheDefaults(t *testing.T) {
	s, err := readText(least)
	if err != nil {
		t.Fatal(err)
	}
	want := DefaultSpec()
	want.Name, want.Latitude, want.Longitude = "Well head", 1, 2
	want.Pads = []Pad{{Name: "A", LengthM: 1, WidthM: 1, ThicknessM: 0.1, After: []After{}}}
	if !reflect.DeepEqual(s, want) {
		t.Errorf("got  %+v\nwant %+v", s, want)
	}
}

func TestAPartKeepsTheOtherDefaults(t *testing.T) {
	s, err := readText(strings.Replace(least, `"latitude"`,
		`"crew":{"people":3.0,"earliest_start":"07:15"},"latitude"`, 1))
	if err != nil {
		t.Fatal(err)
	}
	if s.Crew.People != 3 || s.Crew.EarliestStart != clock(7, 15) || s.Crew.BagsPerHour != 7 {
		t.Errorf("crew %+v", s.Crew)
	}
}

func TestWhatCantBeRead(t *testing.T) {
	for _, body := range []string{"", "  ", "{", `{"a":1`, `{"a":1}}`, `{"a":1} x`, "\xff\xfe{}", `{"a":1,"a":2}`,
		`{"p":[{"b":1,"b":1}]}`,
		`{'a':1}`, `{"a":NaN}`, `{"a":01}`, `[1,]`, strings.Repeat("[", 40) + strings.Repeat("]", 40), "nul"} {
		if _, err := Parse([]byte(body)); !errors.Is(err, fault.Unreadable) {
			t.Errorf("%.30q: want fault.Unreadable, got %v", body, err)
		}
	}
	_, err := Parse([]byte(`{"pads":[{"name":"A"},{"name":"B","name":"C"}]}`))
	if f := fieldsOf(t, err); len(f) != 1 || f[0].Path != "pads[1].name" {
		t.Errorf("a member given twice: %+v", f)
	}
}

func TestFaultsOfFormAndRuleComeTogether(t *testing.T) {
	_, err := readText(`{"name":5,"latitude":"north","longitude":999,"colour":"red","crew":{"earliest_start":"6 am",
		"days":"mon","peple":2}, "stock":{"deliveries":[{"date":"2026-02-30","bags":1.5}]},"units":null,
		"pads":[{"name":"A","length_m":1,"width_m":1},{"name":"B","length_m":1,"width_m":1,"thickness_m":7,
		"after":{}}]}`)
	if !errors.Is(err, fault.Invalid) {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, f := range fieldsOf(t, err) {
		if _, twice := got[f.Path]; twice {
			t.Errorf("%s is reported twice", f.Path)
		}
		got[f.Path] = f.Value
	}
	want := map[string]string{"name": "5", "latitude": "north", "longitude": "999", "colour": "red",
		"crew.earliest_start": "6 am",
		"crew.days":           "mon", "crew.peple": "2", "stock.deliveries[0].date": "2026-02-30",
		"stock.deliveries[0].bags": "1.5", "units": "null",
		"pads[0].thickness_m": "absent", "pads[1].thickness_m": "7", "pads[1].after": "an object"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

func TestNumbers(t *testing.T) {
	for _, v := range []string{"1e400", "-1e999", "true", `"1"`, "null", "[]"} {
		if _, err := readText(strings.Replace(least, `"latitude":1`, `"latitude":`+v, 1)); !errors.Is(err,
			fault.Invalid) {
			t.Errorf("latitude %s: %v", v, err)
		}
	}
	for v, ok := range map[string]bool{"2": true, "2.0": true, "2e0": true, "2.5": false, "1e30": false,
		"99999999999999999999": false} {
		_, err := readText(strings.Replace(least, `"latitude":1`, `"latitude":1,"crew":{"people":`+v+`}`, 1))
		if (err == nil) != ok {
			t.Errorf("people %s: %v", v, err)
		}
	}
}

// Whatever sound project is written out reads back the same.
func TestWrittenProjectsReadBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		s := shed()
		s.Latitude, s.Longitude = rng.Float64()*180-90, rng.Float64()*360-180
		s.Mix.BagKg, s.Crew.People = 20+rng.Float64()*25, 1+rng.IntN(9)
		s.Mix.YieldLPerBag = s.Mix.BagKg / (1.5 + rng.Float64())
		s.Pads[1].ThicknessM = 0.04 + rng.Float64()*0.4
		if rng.IntN(2) == 0 {
			s.Mix.CementFraction = nil
		}
		body, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		back, err := readText(string(body))
		if err != nil {
			t.Fatalf("%s: %v", body, err)
		}
		if !reflect.DeepEqual(back, s) {
			t.Fatalf("got  %+v\nwant %+v", back, s)
		}
	}
}

// FuzzReadSpec: no document panics the reader; what it takes is valid and
// reads back the same; what it refuses has a kind, and a refused field a path
// and a rule.
func FuzzReadSpec(f *testing.F) {
	whole, err := json.Marshal(shed())
	if err != nil {
		f.Fatal(err)
	}
	for _, s := range []string{string(whole), least, `{}`, `[]`, `null`, `{"pads":[null]}`, `{"crew":{"days":[1]}}`,
		`{"name":"\ud800"}`, `{"a\u0000":1}`, `{"":0}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		s, err := readText(string(body))
		if err != nil {
			var fe *fault.Error
			if !errors.As(err, &fe) || fe.Kind != fault.Invalid && fe.Kind != fault.Unreadable {
				t.Fatalf("error without its kind: %v", err)
			}
			for _, x := range fe.Fields {
				if x.Path == "" || x.Rule.IsZero() {
					t.Fatalf("a fault without path or rule: %+v", x)
				}
			}
			return
		}
		if err := s.Validate(); err != nil {
			t.Fatal(err)
		}
		if s.Units == "" { // left out; written down they have a name
			s.Units = "metric"
		}
		again, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := readText(string(again)); err != nil || !reflect.DeepEqual(back, s) {
			t.Fatalf("%s reads back as %+v, %v", again, back, err)
		}
	})
}
