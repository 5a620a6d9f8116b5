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

	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

//go:embed templates
var files embed.FS

// Page is something to lay out: it names its template.
type Page interface{ template() string }

// Pages is the parsed templates. Safe for use by several goroutines.
type Pages struct{ t *template.Template }

// Parse reads the embedded templates.
func Parse() (*Pages, error) {
	css, err := files.ReadFile("templates/style.css")
	if err != nil {
		return nil, fmt.Errorf("view: style: %w", err)
	}
	t, err := template.New("pages").
		Funcs(template.FuncMap{"css": func() template.CSS { return template.CSS(css) }, "sourced": sourced}).
		ParseFS(files, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("view: templates: %w", err)
	}
	return &Pages{t}, nil
}

// Render lays a page out. It writes nothing when the page fails to render.
func (p *Pages) Render(w io.Writer, page Page) error {
	var b strings.Builder
	if err := p.t.ExecuteTemplate(&b, page.template(), page); err != nil {
		return fmt.Errorf("view: %s: %w", page.template(), err)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// Frame is what every page has around it.
type Frame struct {
	Title       string
	Project     string
	Nav         []Link
	Sample      bool   // the weather is invented
	Clock       string // the service's clock is not the world's, in words
	Weather     string // feed and age
	Attribution string
	BootMark    string
	SourcesHref string
	ProvedHref  string
	ChangeHref  string
	SignedIn    bool
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
	Standing []job.PadTimes // of pads placed and not cured, from the log
	Plan     pour.Plan
	Mornings []job.Morning // from today on
	Zone     *time.Location
	Now      time.Time
	Sample   bool
	ClockSet bool   // DRYSLOT_CLOCK is in force
	Trouble  string // why the newest fetch failed; empty: it did not
}

// Reader returns whom the project's sentences are for.
func (s Setting) Reader() notify.Reader {
	return notify.Reader{Zone: s.Zone, US: s.Project.Units == "us", Today: s.Today()}
}

// Says returns the same reader for what package say words.
func (s Setting) Says() say.Reader {
	return say.Reader{Language: s.language(), US: s.Project.Units == "us", Zone: s.Zone, Today: s.Today()}
}

func (s Setting) language() string {
	if s.Project.Units == "us" {
		return "en-US"
	}
	return "en"
}

// Today returns the project's date.
func (s Setting) Today() unit.Date { return unit.DateOf(s.Now, s.Zone) }

func (s Setting) href(tail string) string { return "/p/" + s.Project.ID + tail }

// frame fills in the surroundings of a page; here names the current one.
func (s Setting) frame(title, here string) Frame {
	f := Frame{
		Title: title + " · " + s.Project.Name, Project: s.Project.Name,
		Sample: s.Sample, SignedIn: true, SourcesHref: s.href("/sources"), ProvedHref: s.href("/proved"), ChangeHref: s.href("/change"), BootMark: "6 mm",
	}
	if s.Reader().US {
		f.BootMark = "a quarter of an inch"
	}
	for _, l := range []Link{
		{Words: "Next pour", Href: s.href("")}, {Words: "The pads", Href: s.href("/pads")},
		{Words: "What happened", Href: s.href("/log")}, {Words: "Buy and carry", Href: s.href("/carry")}, {Words: "Alerts", Href: s.href("/alerts")},
	} {
		l.Here = l.Words == here
		f.Nav = append(f.Nav, l)
	}
	if s.ClockSet {
		f.Clock = "The clock of this service is set: it shows " + s.Now.In(s.Zone).Format("Mon 2 Jan 2006 15:04") + ", not the present."
	}
	for _, m := range s.Mornings {
		if m.Forecast != nil {
			f.Weather = weatherLine(m.Forecast, s.Reader())
			if !s.Sample { // the notice above says what sample weather is
				f.Attribution = sentence(m.Forecast.Attribution)
			}
			break
		}
	}
	if s.Trouble != "" {
		f.Weather = strings.TrimSpace(f.Weather + " The last fetch failed: " + s.Trouble + ".")
	}
	return f
}

func weatherLine(n *job.ForecastNote, r notify.Reader) string {
	return fmt.Sprintf("Forecast: %s, fetched %s, %s old; %d forecasts counted.", n.Feed, r.When(n.FetchedAt), age(n.AgeMin), n.Members)
}

func age(minutes int) string {
	switch {
	case minutes < 1:
		return "less than a minute"
	case minutes == 1:
		return "one minute"
	case minutes < 120:
		return fmt.Sprintf("%d minutes", minutes)
	case minutes < 48*60:
		return fmt.Sprintf("%d hours", minutes/60)
	}
	return fmt.Sprintf("%d days", minutes/(24*60))
}

// CautionView is a caution in words; its topic tells it from the others.
type CautionView struct{ Class, Word, Text, Figure, Topic, Source string }

// sourced reports whether any caution says where its limit comes from.
func sourced(cs []CautionView) bool {
	return slices.ContainsFunc(cs, func(c CautionView) bool { return c.Source != "" })
}

// topic gives the first clause of a caution.
func topic(text string) string {
	for _, end := range []string{": ", "; ", ". "} {
		text, _, _ = strings.Cut(text, end)
	}
	return strings.TrimSuffix(text, ".")
}

func (s Setting) cautionViews(cs []job.Caution) []CautionView {
	word := map[job.Severity]string{job.Act: "Do:", job.Watch: "Watch:", job.Note: "Note:"}
	var out []CautionView
	for _, sev := range []job.Severity{job.Act, job.Watch, job.Note} {
		for _, c := range cs {
			if c.Severity == sev && c.Code != "times-are-estimates" { // the foot of every page says it
				out = append(out, CautionView{Class: string(sev), Word: word[sev], Text: s.Reader().Own(c.Text), Topic: topic(s.Reader().Own(c.Text)), Source: c.Source})
			}
		}
	}
	return out
}

// percent writes a chance.
func percent(p float64) string { return notify.Percent(p) }

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
