// Package view owns the pages as a builder sees them: structs of words and
// drawings, made from plain data, and the templates that lay them out. A page
// opens with a sentence that says what to do. Nothing here fetches or decides.
//
//	page := view.NewDay(in)
//	err := pages.Render(w, page)
package view

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dryslot/internal/learn"
	"dryslot/internal/message"
	"dryslot/internal/photo"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/today"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
	"dryslot/internal/web/look"
	"dryslot/internal/web/phone"
)

//go:embed templates
var files embed.FS

// Page is something to lay out: it names its template and its language.
type Page interface {
	template() string
	language() string
}

// Pages is the parsed templates, by language. Safe for use by several goroutines.
type Pages struct{ byLanguage map[string]*template.Template }

// Parse reads the embedded templates, once for each language.
func Parse() (*Pages, error) {
	p := &Pages{map[string]*template.Template{}}
	for _, lang := range say.Languages() {
		r := say.HabitsOf(lang)
		t, err := template.New("pages").Funcs(template.FuncMap{
			"sheet":   func() string { return look.Read().Address },
			"script":  func() string { return phone.Read().Address },
			"paper":   func() string { return look.Paper },
			"mark":    draw.Mark,
			"hatches": draw.Patterns,
			"sourced": sourced,
			"help":    helpFuncs(r.Label),
			"say":     func(code string) string { return r.Label(message.Code(code)) },
		}).ParseFS(files, "templates/*.html")
		if err != nil {
			return nil, fmt.Errorf("view: templates: %w", err)
		}
		p.byLanguage[lang] = t
	}
	return p, nil
}

// Render lays a page out. It writes nothing when the page fails to render.
func (p *Pages) Render(w io.Writer, page Page) error {
	t, ok := p.byLanguage[page.language()]
	if !ok {
		return fmt.Errorf("view: %s: no templates in %q", page.template(), page.language())
	}
	var b strings.Builder
	if err := t.ExecuteTemplate(&b, page.template(), page); err != nil {
		return fmt.Errorf("view: %s: %w", page.template(), err)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// Frame is what every page has around it.
type Frame struct {
	Lang        string // one of say.Languages
	Mode        string // light or dark, whatever the device prefers; empty: as it prefers
	Class       string // of the page's body
	Title       string
	Project     string
	Nav         []Link
	Sample      bool   // the weather is invented
	Clock       string // the service's clock is not the world's, in words
	Weather     string // feed and age
	Attribution string
	Foot        string
	SourcesHref string
	ProvedHref  string
	SignedIn    bool
	TimeZone    string // of the project
	Barred      Barred
	Made        string // when it was, RFC 3339; empty: of no project
}

func (f Frame) language() string { return f.Lang }

// Barred is what a reader's role does not allow, so that no page offers it.
type Barred struct {
	Log    bool // to log anything
	Change bool // to change the project, and who gets its alerts
	Crew   bool // to say who takes part
}

// Link is a place to go, in words.
type Link struct {
	Words, Href string
	Here        bool
}

// Setting is what all pages of a project are made from.
type Setting struct {
	Project  pour.Project
	Records  []pour.PadRecord
	Log      []pour.LogEntry
	Photos   []photo.Photo // of the log, without their JPEG
	Learned  learn.Corrections
	Live     today.Now      // the answer for this minute; zero where a page does not ask
	Standing []job.PadTimes // of pads placed and not cured, from the log
	Plan     pour.Plan
	Mornings []job.Morning // from today on
	Reader   say.Reader    // whom the page is for, with the project's zone and today
	Zone     *time.Location
	Now      time.Time
	Sample   bool
	Barred   Barred
	Still    bool              // the minute shown is invented: no countdown runs, no news grows old
	ClockSet bool              // DRYSLOT_CLOCK is in force
	Trouble  []message.Message // why the newest fetch failed; none: it did not
}

// say words a sentence for the page's reader.
func (s Setting) say(code message.Code, figures ...message.Figure) string {
	return s.Reader.Say(message.New(code, figures...))
}

// Today returns the project's date.
func (s Setting) Today() unit.Date { return unit.DateOf(s.Now, s.Zone) }

func (s Setting) href(tail string) string { return "/p/" + s.Project.ID + tail }

// frame fills in the surroundings of a page; here is its entry in the list of
// pages.
func (s Setting) frame(title string, here message.Code) Frame {
	r := s.Reader
	f := Frame{
		Lang: r.Language, Title: s.say(PageTitle, message.Text("page", title), message.Name("project", s.Project.Name)),
		Project: s.Project.Name, Sample: s.Sample, SignedIn: true, Made: s.Now.UTC().Format(time.RFC3339),
		TimeZone: s.Project.TimeZone, Barred: s.Barred, SourcesHref: s.href("/sources"),
		ProvedHref: s.href("/proved"), Foot: foot(r, BootMarkMetric),
	}
	if r.US {
		f.Foot = foot(r, BootMarkUS)
	}
	for _, l := range []struct {
		code message.Code
		tail string
	}{{NavNext, ""}, {NavPads, "/pads"}, {NavCarry, "/carry"}, {NavLog, "/log"}, {NavAlerts, "/alerts"},
		{NavJob, "/change"}} {
		if s.Barred.Change && (l.code == NavAlerts || l.code == NavJob) {
			continue
		}
		f.Nav = append(f.Nav, Link{Words: r.Label(l.code), Href: s.href(l.tail), Here: l.code == here})
	}
	if s.Still {
		f.Made = ""
	}
	if s.ClockSet {
		f.Clock = s.say(PageClockSet, message.Date("", s.Today()), message.Text("clock", r.Clock(s.Now)))
	}
	for _, m := range s.Mornings {
		if m.Forecast != nil {
			f.Weather = s.weatherLine(m.Forecast)
			if !s.Sample { // the notice above says what sample weather is
				f.Attribution = sentence(m.Forecast.Attribution)
			}
			break
		}
	}
	if len(s.Trouble) > 0 {
		f.Weather = strings.TrimSpace(f.Weather + " " + s.say(PageTrouble,
			message.Text("text", s.Reader.SayAll(s.Trouble))))
	}
	return f
}

func foot(r say.Reader, mark message.Code) string {
	return r.Say(message.New(PageFoot, message.Text("mark", r.Label(mark))))
}

func (s Setting) weatherLine(n *job.ForecastNote) string {
	return s.say(PageForecast, message.Name("feed", n.Feed), message.At("fetched", n.FetchedAt),
		message.Duration("age", time.Duration(n.AgeMin)*time.Minute), message.Count("members", n.Members))
}

// CautionView is a caution in words; its topic, which is its first sentence,
// tells it from the others.
type CautionView struct{ Class, Word, Text, Figure, Topic, Source string }

// sourced reports whether any caution says where its limit comes from.
func sourced(cs []CautionView) bool {
	return slices.ContainsFunc(cs, func(c CautionView) bool { return c.Source != "" })
}

// topic is a sentence without its stop.
func topic(sentence string) string { return strings.TrimSuffix(sentence, ".") }

// severity is the word before a caution.
func (s Setting) severity(of string) string {
	if of == string(job.Note) {
		of = "caution note"
	}
	return s.Reader.Term(of)
}

// chance words a chance.
func (s Setting) chance(p float64) string { return s.Reader.Chance(p) }

// upper writes words with a capital first letter.
func upper(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// sentence makes words a sentence: a capital first letter, a stop at the end.
func sentence(s string) string {
	if s == "" {
		return ""
	}
	if s = upper(s); !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}
