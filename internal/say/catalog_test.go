package say

import (
	"cmp"
	"encoding/json"
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

// forms are the templates that are given.
func (s sentence) forms() map[string]string {
	out := map[string]string{}
	for name, t := range map[string]string{"zero": s.Zero, "one": s.One, "two": s.Two, "few": s.Few,
		"many": s.Many, "other": s.Other} {
		if t != "" {
			out[name] = t
		}
	}
	return out
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
				chosen := "" // the figure that the form itself says
				if form == "one" || form == "zero" {
					chosen = s.By
				}
				for _, wrong := range unsaid(template, m.Figures, chosen) {
					t.Errorf("%s, %s, form %s: %s", name, m.Code, form, wrong)
				}
			}
		}
	}
}

// unsaid lists the holes of a template that no figure fills, and the figures
// but the chosen one that it leaves out.
func unsaid(template string, figures message.Figures, chosen string) []string {
	var wrong []string
	said := map[string]bool{}
	for _, h := range hole.FindAllStringSubmatch(template, -1) {
		said[h[1]] = true
		if figures.Get(h[1]) == nil {
			wrong = append(wrong, h[1]+" is no figure of the example")
		}
	}
	for _, f := range figures {
		if !said[f.Name] && f.Name != chosen {
			wrong = append(wrong, f.Name+" is not said")
		}
	}
	return wrong
}

func TestTheSentencesAreThoseOfTheLists(t *testing.T) {
	files := parts(t)
	for name, r := range readers(t) {
		lists := map[string]*strings.Builder{}
		for _, m := range examples(t) {
			if err := r.Check(m); err != nil {
				t.Error(err)
			}
			said := r.Say(m)
			if strings.ContainsAny(said, "{}") {
				t.Errorf("%s: %s", m.Code, said)
			}
			part := files[m.Code]
			if lists[part] == nil {
				lists[part] = &strings.Builder{}
			}
			lists[part].WriteString(string(m.Code) + ": " + said + "\n")
		}
		for part, b := range lists {
			path := "testdata/lists/" + name + "/" + part + ".txt"
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
}

// parts tells the catalog file of each code, such as plan of en_plan.json.
func parts(t *testing.T) map[message.Code]string {
	t.Helper()
	out := map[message.Code]string{}
	names, err := filepath.Glob("catalogs/en*.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var c catalog
		if err := json.Unmarshal(b, &c); err != nil {
			t.Fatal(err)
		}
		part := strings.TrimPrefix(strings.TrimSuffix(filepath.Base(name), ".json"), "en")
		for code := range c.Sentences {
			out[code] = cmp.Or(strings.TrimPrefix(part, "_"), "main")
		}
	}
	return out
}
