package say

import (
	"strings"
	"time"

	"golang.org/x/text/language"
	"golang.org/x/text/message"

	"dryslot/internal/unit"
)

// Reader is who a sentence is for.
type Reader struct {
	Language string         // one of Languages; else, English
	US       bool           // US customary units instead of metric
	Clock12  bool           // 7:05 am instead of 07:05
	Zone     *time.Location // nil: instants are given in RFC 3339, for programs
	Today    unit.Date      // in Zone; zero: no date is called today
}

// Languages are those that sentences are worded in: English of the United
// States and of elsewhere, Spanish of Latin America and of the United States.
func Languages() []string { return []string{"en-US", "en", "es-419", "es-US"} }

// LanguageOf picks the language for an Accept-Language header (RFC 9110); fallback
// where the header is empty, can't be read or asks for none of the languages here.
func LanguageOf(accept, fallback string) string {
	if strings.TrimSpace(accept) == "" {
		return fallback
	}
	wanted, _, err := language.ParseAcceptLanguage(accept)
	if err != nil || len(wanted) == 0 {
		return fallback
	}
	for _, w := range wanted {
		best, base := "", baseOf(w)
		for _, l := range Languages() {
			switch {
			case l == w.String():
				return l
			case baseOf(language.MustParse(l)) == base && (best == "" || strings.HasSuffix(best, "-US")):
				best = l // that of the United States only for who asks for it
			}
		}
		if best != "" {
			return best
		}
	}
	return fallback
}

func baseOf(t language.Tag) string {
	b, _ := t.Base()
	return b.String()
}

// HabitsOf returns a reader with what is usual where a language is spoken: US
// units and a 12-hour clock in the United States, metric units elsewhere.
func HabitsOf(lang string) Reader {
	us := strings.HasSuffix(lang, "-US")
	return Reader{Language: lang, US: us, Clock12: us || lang == "es-419"}
}

// For returns the reader of a project's alerts: its language and its units.
// Where no language is set, that is the English that goes with the units.
func For(language *string, us bool) Reader {
	r := HabitsOf("en")
	switch {
	case language != nil:
		r = HabitsOf(*language)
	case us:
		r = HabitsOf("en-US")
	}
	r.US = us
	return r
}

// Asked returns the reader of an answer or a page of a project: in the language
// that a request asks for, else the project's, in the project's units.
func Asked(accept string, project *string, us bool) Reader {
	lang := LanguageOf(accept, For(project, us).Language)
	return For(&lang, us)
}

func (r Reader) tag() language.Tag {
	for _, l := range Languages() {
		if l == r.Language {
			return language.MustParse(l)
		}
	}
	return language.English
}

func (r Reader) printer() *message.Printer { return message.NewPrinter(r.tag()) }
