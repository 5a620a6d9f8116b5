package view

import (
	"fmt"

	"dryslot/internal/pour"
)

// Sources is the page of cautions for people and of the limits' sources.
type Sources struct {
	Frame        Frame
	People       []CautionView
	WeatherLines []string
	Limits       []LimitLine
}

func (Sources) template() string { return "sources" }

// LimitLine is one limit with its source.
type LimitLine struct{ What, Limit, Source string }

// Projects is the list of an account's projects.
type Projects struct {
	Frame    Frame
	Headline string
	Items    []ProjectLine
}

func (Projects) template() string { return "projects" }

// ProjectLine is one project, with what tells it from others.
type ProjectLine struct{ Name, Href, Words string }

// ProjectWords tells a project from others in the list.
func ProjectWords(p pour.Project) string {
	return fmt.Sprintf("%d %s, %s", len(p.Pads), pads(len(p.Pads)), p.TimeZone)
}

// SignIn asks for a token.
type SignIn struct {
	Frame Frame
	Wrong string
	Next  string
}

func (SignIn) template() string { return "signin" }

// Trouble is the page of an error, in words for the person who met it.
type Trouble struct {
	Frame    Frame
	Headline string
	Lines    []string
}

func (Trouble) template() string { return "error" }

// Plain returns the surroundings of a page that belongs to no project.
func Plain(title string, sample, signedIn bool) Frame {
	return Frame{Title: title + " · dryslot", Sample: sample, SignedIn: signedIn, BootMark: "6 mm (a quarter of an inch)"}
}

// NewSources makes the page of cautions and limits.
func NewSources(s Setting) Sources {
	p := Sources{Frame: s.frame("Working safely", ""), People: s.people(), Limits: limits(s.Reader().US)}
	p.Frame.SourcesHref = ""
	for _, l := range []string{p.Frame.Weather, p.Frame.Attribution} {
		if l != "" {
			p.WeatherLines = append(p.WeatherLines, l)
		}
	}
	return p
}
