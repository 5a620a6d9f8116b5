package say

import (
	"encoding/json"
	"errors"
	"flag"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/unit"
)

var update = flag.Bool("update", false, "write the lists in testdata anew")

// readers are those that the lists are printed for.
func readers(t *testing.T) map[string]Reader {
	t.Helper()
	coast, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]Reader{"en-US": HabitsOf("en-US"), "en": HabitsOf("en"), "es-419": HabitsOf("es-419")}
	for name, r := range out {
		r.Zone, r.Today = coast, unit.Date{Year: 2026, Month: time.November, Day: 27}
		out[name] = r
	}
	return out
}

func examples(t *testing.T) []message.Message {
	t.Helper()
	var out []message.Message
	names, err := filepath.Glob("testdata/examples*.json")
	if err != nil || len(names) < 4 {
		t.Fatal(names, err)
	}
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var more []message.Message
		if err := json.Unmarshal(b, &more); err != nil {
			t.Fatal(err)
		}
		out = append(out, more...)
	}
	for _, code := range slices.Sorted(maps.Keys(declared(t))) {
		if !figuresIn(code) && !slices.ContainsFunc(out, func(m message.Message) bool { return m.Code == code }) {
			out = append(out, message.New(code))
		}
	}
	return out
}

// asked is a code that a template of a page has said.
var asked = regexp.MustCompile(`{{say "([a-z0-9_]+)"}}`)

// declared are the codes that the packages of the service declare, as constants
// of type message.Code, and those that the templates of pages have said.
func declared(t *testing.T) map[message.Code]string {
	t.Helper()
	out := map[message.Code]string{}
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".html") {
			b, err := os.ReadFile(path)
			for _, m := range asked.FindAllSubmatch(b, -1) {
				out[message.Code(m[1])] = path
			}
			return err
		}
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		for _, d := range file.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.CONST {
				continue
			}
			for _, s := range g.Specs {
				v := s.(*ast.ValueSpec)
				if !isCode(v.Type, file.Name.Name) {
					continue
				}
				for _, x := range v.Values {
					code, err := strconv.Unquote(x.(*ast.BasicLit).Value)
					if err != nil {
						return err
					}
					if other, twice := out[message.Code(code)]; twice {
						t.Errorf("%s is declared in %s and in %s", code, other, path)
					}
					out[message.Code(code)] = path
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) < 20 {
		t.Fatalf("only %d codes were found", len(out))
	}
	return out
}

func isCode(x ast.Expr, pkg string) bool {
	switch x := x.(type) {
	case *ast.SelectorExpr:
		p, ok := x.X.(*ast.Ident)
		return ok && p.Name == "message" && x.Sel.Name == "Code"
	case *ast.Ident:
		return pkg == "message" && x.Name == "Code"
	}
	return false
}

func TestEachCodeHasASentenceInEachLanguageAndNoSentenceIsUnused(t *testing.T) {
	codes := declared(t)
	for name, c := range catalogs() {
		for code, path := range codes {
			if _, ok := c.Sentences[code]; !ok {
				t.Errorf("%s: no sentence for %s of %s", name, code, path)
			}
		}
		for code := range c.Sentences {
			if _, ok := codes[code]; !ok {
				t.Errorf("%s: %s is said by nobody", name, code)
			}
		}
	}
	given := map[message.Code]bool{}
	for _, m := range examples(t) {
		given[m.Code] = true
		if _, ok := codes[m.Code]; !ok {
			t.Errorf("an example of %s, which is said by nobody", m.Code)
		}
	}
	for code := range codes {
		if !given[code] && figuresIn(code) {
			t.Errorf("no example of %s", code)
		}
	}
}

// figuresIn reports whether a sentence holds figures: one that holds none is
// its own example.
func figuresIn(code message.Code) bool {
	for _, c := range catalogs() {
		for _, template := range c.Sentences[code].forms() {
			if strings.Contains(template, "{") {
				return true
			}
		}
	}
	return false
}

func TestEachLanguageHasTheSameTerms(t *testing.T) {
	all := catalogs()
	for name, c := range all {
		for word := range c.Terms {
			for other, o := range all {
				if _, ok := o.Terms[word]; !ok {
					t.Errorf("%s has the term %s, %s has not", name, word, other)
				}
			}
		}
		for _, l := range Languages() {
			f := regional()[l]
			for u := range c.Formats.Units {
				if f.Units[u] == "" {
					t.Errorf("%s has no unit %s", l, u)
				}
			}
		}
	}
}

var hole = regexp.MustCompile(`\{([^}:]*)(:[^}]*)?\}`)

// Every figure of an example stands in every template of its code, in every
// language; only the number that chooses the plural form may be said by the
// form zero or one itself.
func TestEachFigureIsSaidInEachLanguage(t *testing.T) {
	for _, m := range examples(t) {
		for name, c := range catalogs() {
			s := c.Sentences[m.Code]
			for form, template := range s.forms() {
				said := map[string]bool{}
				for _, h := range hole.FindAllStringSubmatch(template, -1) {
					said[h[1]] = true
					if m.Figures.Get(h[1]) == nil {
						t.Errorf("%s, %s: %s is no figure of the example", name, m.Code, h[1])
					}
				}
				for _, f := range m.Figures {
					chosen := f.Name == s.By && (form == "one" || form == "zero")
					if !said[f.Name] && !chosen {
						t.Errorf("%s, %s, form %s: %s is not said", name, m.Code, form, f.Name)
					}
				}
			}
		}
	}
}

func TestTheSentencesAreThoseOfTheLists(t *testing.T) {
	for name, r := range readers(t) {
		var b strings.Builder
		for _, m := range examples(t) {
			if err := r.Check(m); err != nil {
				t.Error(err)
			}
			said := r.Say(m)
			if strings.ContainsAny(said, "{}") {
				t.Errorf("%s: %s", m.Code, said)
			}
			b.WriteString(string(m.Code) + ": " + said + "\n")
		}
		path := "testdata/" + name + ".txt"
		if *update {
			if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got := b.String(); got != string(want) {
			t.Errorf("%s differs; run with -update and read it:\n%s", path, got)
		}
	}
}

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
		{message.At("start", at.AddDate(0, 0, 7)), "", "Sat, Dec 5, 7:05 am", "Sat 5 Dec, 07:05", "sáb 5 dic, 7:05 a. m."},
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
	for lang, want := range map[string][2]string{"en-US": {"12 pm", "12pm"}, "en": {"12:00", "12"}, "es-419": {"12 p. m.", "12pm"}} {
		r := readers(t)[lang]
		if long, short := strings.ReplaceAll(r.Hour(at, false), nbsp, " "), r.Hour(at, true); long != want[0] || short != want[1] {
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
	if got, err := r.fill("Empiece a las {start_clock}.", m); err != nil || got != "Empiece a las 7:00\u00a0a.\u00a0m." {
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
