package view_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"dryslot/internal/message"
	"dryslot/internal/say"
	"dryslot/internal/unit"
	"dryslot/internal/web/pages/states"
	"dryslot/internal/web/pages/view"
)

var (
	action   = regexp.MustCompile(`\{\{[^}]*\}\}`)
	tag      = regexp.MustCompile(`<[^>]*>`)
	spoken   = regexp.MustCompile(`\b(?:aria-label|alt|title|placeholder)="([^"]*)"`)
	catalogs = regexp.MustCompile(`\{\{say "`)
)

// Templates hold no words: what a person reads is asked for by its code, in
// text and in attributes that are read aloud.
func TestTemplatesHoldNoWords(t *testing.T) {
	files, err := filepath.Glob("templates/*.html")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d templates, %v", len(files), err)
	}
	asked := 0
	for _, path := range files {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		asked += len(catalogs.FindAll(b, -1))
		bare := action.ReplaceAllString(string(b), "")
		words := tag.ReplaceAllString(bare, " ")
		for _, m := range spoken.FindAllStringSubmatch(bare, -1) {
			words += " " + m[1]
		}
		for _, w := range strings.FieldsFunc(words, func(r rune) bool { return !unicode.IsLetter(r) }) {
			t.Errorf("%s holds the word %q", path, w)
		}
	}
	if asked < 50 {
		t.Errorf("only %d sentences are asked for: this test tests nothing", asked)
	}
}

// Go code of the pages holds no sentences either: a text with two words in a
// row would be one.
func TestGoCodeOfPagesHoldsNoSentences(t *testing.T) {
	sentence := regexp.MustCompile("\"[^\"\\n]*[A-Za-z]{2,} [a-z]{2,} [^\"\\n]*\"")
	internal := regexp.MustCompile(
		`NewReplacer|fmt\.Errorf|errors\.New|Log\.|panic|fault\.(New|Wrap)|Message:|Broken\(|NewProblem|AtFault|^\s*//`)
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	beside, err := filepath.Glob("../*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range append(files, beside...) {
		if strings.HasSuffix(path, "_test.go") {
			continue
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(string(b), "\n") {
			if m := sentence.FindString(line); m != "" && !internal.MatchString(line) && !strings.Contains(line,
				"Policy =") && !strings.Contains(line, "application/") {
				t.Errorf("%s: %s", path, m)
			}
		}
	}
}

// Each page is whole in each language: nothing is left unworded, no English
// label stands on a Spanish page, and lang says which it is.
func TestEveryPageInEveryLanguage(t *testing.T) {
	pages, err := view.Parse()
	if err != nil {
		t.Fatal(err)
	}
	for _, state := range states.Names() {
		for _, lang := range say.Languages() {
			s := states.In(states.Setting(state), lang)
			for name, page := range pagesFor(t, s, state) {
				var b strings.Builder
				if err := pages.Render(&b, page); err != nil {
					t.Fatalf("%s, %s in %s: %v", state, name, lang, err)
				}
				where := state + ", " + name + " in " + lang
				text := checkWorded(t, where, lang, b.String())
				if strings.HasPrefix(lang, "es") {
					checkNotEnglish(t, where, state, s, text)
				}
			}
		}
	}
}

// unworded is a code that no catalog worded.
var unworded = regexp.MustCompile(`\b[a-z]+(_[a-z]+)+( [a-z_]+=|\b)`)

// checkWorded checks that a page says its language and words every code, and
// returns its text.
func checkWorded(t *testing.T, where, lang, html string) string {
	t.Helper()
	if !strings.Contains(html, `<html lang="`+lang+`">`) {
		t.Errorf("%s: lang is another", where)
	}
	_, body, _ := strings.Cut(html, "</head>")
	text := tag.ReplaceAllString(body, " ")
	for _, w := range unworded.FindAllString(text, -1) {
		t.Errorf("%s: not worded: %s", where, w)
	}
	if strings.Contains(text, " ? ") {
		t.Errorf("%s: a figure is missing", where)
	}
	return text
}

// checkNotEnglish checks that no reason and no label of a page is left in English.
func checkNotEnglish(t *testing.T, where, state string, s view.Setting, text string) {
	t.Helper()
	for _, m := range s.Mornings {
		if m.ReasonData.Code == message.StoredText || m.Reason != "" && m.Reason == inEnglish(t, state, m.Date) {
			t.Errorf("%s: the reason of %s is the same: %q", where, m.Date, m.Reason)
		}
	}
	for _, w := range []string{"Forecast track record", "Sign out", "Skip to", "still to pour", "Buy and carry",
		"Times are estimates", "What you need", "from memory", "common practice", "judgement"} {
		if strings.Contains(text, w) {
			t.Errorf("%s: %q", where, w)
		}
	}
}

// inEnglish is the reason of a morning as an English reader gets it.
func inEnglish(t *testing.T, state string, d unit.Date) string {
	t.Helper()
	for _, m := range states.In(states.Setting(state), "en").Mornings {
		if m.Date == d {
			return m.Reason
		}
	}
	t.Fatalf("%s has no morning of %s", state, d)
	return ""
}
