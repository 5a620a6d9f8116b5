package say

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/unit"
)

func TestFiguresInEachReadersUnits(t *testing.T) {
	at := time.Date(2026, time.November, 28, 15, 5, 0, 0, time.UTC)
	for _, c := range []struct {
		figure     message.Figure
		form       string
		us, en, es string
	}{
		{message.Temperature("mix", 16), "", "61°F", "16°C", "16 °C"},
		{message.Temperature("mix", -0.2), "", "32°F", "0°C", "0 °C"},
		{message.Difference("drop", 28), "", "50°F", "28°C", "28 °C"},
		{message.Mass("load", 544.3), "", "1,200 lb", "544 kg", "544 kg"},
		{message.Mass("all", 8700), "", "19,180 lb", "8,700 kg", "8,700 kg"},
		{message.Mass("bag", 2.25), "", "5 lb", "2.3 kg", "2.3 kg"},
		{message.Length("side", 1.1684), "", "46 in", "1.17 m", "1.17 m"},
		{message.Length("run", 6.4), "", "21 ft", "6.4 m", "6.4 m"},
		{message.Length("thickness", 0.0889), "", "3.5 in", "89 mm", "89 mm"},
		{message.Depth("rain", 0.25), "", "0.01 in", "0.25 mm", "0.25 mm"},
		{message.Depth("rain", 1.2), "", "0.05 in", "1.2 mm", "1.2 mm"},
		{message.Volume("water", 30.8), "", "8.1 gal", "31 L", "31 l"},
		{message.Volume("water", 2.8), "", "3 qt", "2.8 L", "2.8 l"},
		{message.Strength("lost", 12), "", "1,740 psi", "12 MPa", "12 MPa"},
		{message.Speed("gust", 14), "", "31 mph", "50 km/h", "50 km/h"},
		{message.Evaporation("rate", 1), "", "0.2 lb/ft²/h", "1 kg/m²/h", "1 kg/m²/h"},
		{message.Chance("", 0.82), "", "82%", "82%", "82 %"},
		{message.Chance("", 0.004), "", "under 1%", "under 1%", "menos del 1 %"},
		{message.Chance("", 0.997), "", "over 99%", "over 99%", "más del 99 %"},
		{message.Chance("", 1), "", "100%", "100%", "100 %"},
		{message.Chance("", 0), "", "0%", "0%", "0 %"},
		{message.Duration("wait", 90*time.Minute), "", "90 min", "90 min", "90 min"},
		{message.Duration("wait", 258*time.Minute), "", "4 h 18 min", "4 h 18 min", "4 h 18 min"},
		{message.Duration("wait", 3*time.Hour), "", "3 h", "3 h", "3 h"},
		{message.At("start", at), "", "Sat 7:05 am", "Sat 07:05", "sáb 7:05 a. m."},
		{message.At("start", at), "clock", "7:05 am", "07:05", "7:05 a. m."},
		{message.At("start", at.AddDate(0, 0, 7)), "", "Sat, Dec 5, 7:05 am", "Sat 5 Dec, 07:05",
			"sáb 5 dic, 7:05 a. m."},
		{message.At("start", at.AddDate(0, 2, 0)), "", "Thu, Jan 28, 2027, 7:05 am", "Thu 28 Jan 2027, 07:05",
			"jue 28 ene de 2027, 7:05 a. m."},
		{message.Date("", unit.Date{Year: 2026, Month: 11, Day: 28}), "", "Sat, Nov 28", "Sat 28 Nov", "sáb 28 nov"},
		{message.Date("", unit.Date{Year: 2026, Month: 11, Day: 28}), "day", "tomorrow, Saturday, November 28",
			"tomorrow, Saturday 28 November", "mañana, sábado 28 de noviembre"},
		{message.Clock("latest", 12*60), "", "12:00 pm", "12:00", "12:00 p. m."},
		{message.Clock("latest", 30), "", "12:30 am", "00:30", "12:30 a. m."},
		{message.Count("n", 7), "word", "seven", "seven", "siete"},
		{message.Count("n", 8700), "", "8,700", "8,700", "8,700"},
		{message.Names("pads", []string{"A1", "A3"}), "", "A1, A3", "A1, A3", "A1, A3"},
		{message.Names("pads", []string{"A1", "A3"}), "count", "two", "two", "dos"},
	} {
		for name, want := range map[string]string{"en-US": c.us, "en": c.en, "es-419": c.es} {
			got := strings.ReplaceAll(readers(t)[name].figure(c.figure.Value, c.form), nbsp, " ")
			if got != want {
				t.Errorf("%s, %s %v: %q, want %q", name, c.figure.Name, c.figure.Value, got, want)
			}
		}
	}
}

// An axis has little room for its hours.
func TestAnHourInLittleRoom(t *testing.T) {
	at := time.Date(2026, time.November, 28, 20, 0, 0, 0, time.UTC) // noon on the coast
	for lang, want := range map[string][2]string{"en-US": {"12 pm", "12pm"}, "en": {"12:00", "12"},
		"es-419": {"12 p. m.", "12pm"}} {
		r := readers(t)[lang]
		if long, short := strings.ReplaceAll(r.Hour(at, false), nbsp, " "), r.Hour(at, true); long != want[0] ||
			short != want[1] {
			t.Errorf("%s: %q, %q", lang, long, short)
		}
	}
}

func TestTheLanguageIsPickedFromTheHeader(t *testing.T) {
	for _, c := range []struct{ header, want string }{
		{"", "es-US"}, {"es", "es-419"}, {"es-MX,es;q=0.9", "es-419"}, {"es-US", "es-US"}, {"en-US,en;q=0.5", "en-US"},
		{"en-GB", "en"}, {"en", "en"}, {"en-AU", "en"}, {"fr-FR", "es-US"}, {"fr, es;q=0.4", "es-419"}, {";;;",
			"es-US"}, {"de, en-US;q=0.1", "en-US"},
	} {
		if got := LanguageOf(c.header, "es-US"); got != c.want {
			t.Errorf("%q: %s, want %s", c.header, got, c.want)
		}
	}
}

// The stop of an abbreviation ends the sentence too.
func TestASentenceEndsInOneStop(t *testing.T) {
	r := readers(t)["es-419"]
	m := message.New("x", message.Clock("start", 7*60))
	if got, err := r.fill("Empiece a las {start_clock}.", m); err != nil ||
		got != "Empiece a las 7:00\u00a0a.\u00a0m." {
		t.Errorf("%q, %v", got, err)
	}
}

func TestWhatCantBeWordedIsStillSaid(t *testing.T) {
	r := HabitsOf("en")
	if got := r.Say(message.New("no_such_code", message.Number("n", 3))); got != "no_such_code n=3" {
		t.Error(got)
	}
	lacking := message.New("most_items")
	if got := r.Say(lacking); got != "must be at most ?" || r.Check(lacking) == nil {
		t.Error(got)
	}
	if got := r.Say(message.Message{}); got != "" {
		t.Error(got)
	}
}

func FuzzLanguageOf(f *testing.F) {
	f.Add("es-MX,es;q=0.9")
	f.Add("*;q=0")
	f.Fuzz(func(t *testing.T, header string) {
		if got := LanguageOf(header, "en"); !slices.Contains(Languages(), got) {
			t.Errorf("%q: %q", header, got)
		}
	})
}

// What somebody types is read back in both systems of units.
func TestWhatIsTypedIsReadBack(t *testing.T) {
	length, err := unit.ParseLength(`3'10"`, "")
	if err != nil {
		t.Fatal(err)
	}
	weight, err := unit.ParseMass("80 lb", false)
	if err != nil {
		t.Fatal(err)
	}
	warm, err := unit.ParseTemperature("16 C", true)
	if err != nil {
		t.Fatal(err)
	}
	r := readers(t)
	for _, c := range []struct{ got, want string }{
		{r["en-US"].Both(message.Length("side", length)), "46 in (1.17 m)"},
		{r["en"].Both(message.Length("side", length)), "1.17 m (46 in)"},
		{r["en-US"].Both(message.Mass("bag", weight)), "80 lb (36.3 kg)"},
		{r["es-419"].Both(message.Temperature("mix", warm)), "16 °C (61 °F)"},
		{r["en-US"].Both(message.Count("bags", 7)), "7"},
	} {
		if got := strings.ReplaceAll(c.got, nbsp, " "); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// Each refusal of something typed says how to type it.
func TestARefusalSaysWhatToType(t *testing.T) {
	for _, typed := range []string{"", "46", "46 kg", "1,200 mm", "-3 m", "3 ft 12 in", "99999999 m"} {
		_, err := unit.ParseLength(typed, "")
		var refused *unit.Refusal
		if !errors.As(err, &refused) {
			t.Errorf("%q was taken", typed)
			continue
		}
		for name, r := range readers(t) {
			rule := fault.Refused(refused)
			if said := r.Rule(rule); r.Check(rule.Message) != nil || !strings.Contains(said, "1.17 m") {
				t.Errorf("%s, %q: %s", name, typed, said)
			}
		}
	}
}
