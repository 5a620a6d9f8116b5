package message

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"dryslot/internal/unit"
)

// every returns a message with one figure of each kind.
func every() Message {
	return New("all",
		Number("min", 0.04), Count("pads_count", 3), Chance("", 0.35), Chance("loss", 0.02), Temperature("mix", -4.5),
		Difference("drop", 28), Depth("rain", 1.2), Length("side", 1.17), Mass("bag", 36.3), Volume("water", 3.5),
		Strength("lost", 12), Speed("gust", 14), Evaporation("rate", 0.75), Duration("wait", 90*time.Minute),
		Density("most", 2.6), WaterShare("most", 0.3),
		At("start", time.Date(2026, 11, 28, 7, 5, 0, 0, time.FixedZone("", -8*3600))), Date("", unit.Date{Year: 2026,
			Month: 11, Day: 28}),
		Clock("latest", 17*60+30), Name("pad", "a \"b\"\u00e9"), Names("pads", []string{"H1", "H2"}), Term("cover",
			"plastic"),
		At("beyond", time.Time{}),
		Within("why", New("inner", Chance("", 0.5), Name("pad", "H1"))))
}

func TestAMessageComesBackFromJSON(t *testing.T) {
	want := every()
	b, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	var got Message
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Figures) != len(want.Figures) {
		t.Errorf("%d figures came back of %d", len(got.Figures), len(want.Figures))
	}
	for _, f := range want.Figures {
		g := Figure{f.Name, got.Figures.Get(f.Name)}
		if at, ok := f.Value.(Instant); ok {
			if !time.Time(at).Equal(time.Time(g.Value.(Instant))) || f.Name != g.Name {
				t.Errorf("%v came back as %v", f, g)
			}
			continue
		}
		if !reflect.DeepEqual(f, g) {
			t.Errorf("%#v came back as %#v", f, g)
		}
	}
}

func TestMinIsNotMinutes(t *testing.T) {
	var f Figures
	if err := json.Unmarshal([]byte(`{"min":3,"wait_min":3,"c":4}`), &f); err != nil {
		t.Fatal(err)
	}
	for i, want := range []Dimension{Plain, Durations, Plain} {
		if got := f[i].Value.(Quantity).Dimension; got != want {
			t.Errorf("%s has dimension %d, want %d", f[i].Name, got, want)
		}
	}
}

func TestANumberThatIsNotFiniteIsNull(t *testing.T) {
	b, err := json.Marshal(New("x", Number("n", math.NaN())))
	if err != nil || !strings.Contains(string(b), `"n":null`) {
		t.Errorf("%s, %v", b, err)
	}
	var m Message
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	if v, ok := m.Figures.Number("n"); !ok || !math.IsNaN(v) {
		t.Errorf("unknown came back as %v", v)
	}
}

func TestAFigureStandsOnce(t *testing.T) {
	m := New("x", Number("min", 1), Number("max", 2)).With(Number("min", 5))
	if got := m.String(); got != "x min=5 max=2" {
		t.Error(got)
	}
	var f Figures
	if err := json.Unmarshal([]byte(`{"a":1,"a":2}`), &f); err == nil {
		t.Error("a name given twice was taken")
	}
}

func FuzzFigures(f *testing.F) {
	b, _ := json.Marshal(every().Figures)
	f.Add(b)
	for _, s := range []string{`{}`, `{"a_at":"x"}`, `{"date":"2026-02-30"}`, `{"a":[1]}`, `{"a":null}`,
		`{"a":{}}`, `[]`, `{"a":true}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var one, two Figures
		if json.Unmarshal(b, &one) != nil {
			return
		}
		out, err := json.Marshal(one)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(out, &two); err != nil {
			t.Fatalf("%s: %v", out, err)
		}
		if again, _ := json.Marshal(two); string(again) != string(out) {
			t.Errorf("%s became %s", out, again)
		}
	})
}

func TestFiguresAreWrittenTheSameInAnyOrder(t *testing.T) {
	one := New("x", Name("pad", "H1"), Chance("", 0.5), Within("why", New("y", Count("b", 1), Count("a", 2))))
	two := New("x", Within("why", New("y", Count("a", 2), Count("b", 1))), Chance("", 0.5), Name("pad", "H1"))
	a, _ := json.Marshal(one)
	b, err := json.Marshal(two)
	if err != nil || string(a) != string(b) {
		t.Errorf("%s and %s, %v", a, b, err)
	}
}
