package view

import (
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
)

// Sources is the page of cautions for people and of the limits' sources.
type Sources struct {
	Frame
	People       []CautionView
	WeatherLines []string
	Limits       []LimitLine
}

func (Sources) template() string { return "sources" }

// LimitLine is one limit with its source.
type LimitLine struct{ Limit, Source string }

// Projects is the list of an account's projects.
type Projects struct {
	Frame
	Headline string
	Items    []ProjectLine
}

func (Projects) template() string { return "projects" }

// ProjectLine is one project, with what tells it from others.
type ProjectLine struct{ Name, Href, Words string }

// NewProjects makes the list.
func NewProjects(f Frame, r say.Reader, all []pour.Project, shared []SharedProject) Projects {
	page := Projects{Frame: f, Headline: r.Say(message.New(ProjectsTitle, message.Count("count", len(all))))}
	for _, p := range all {
		page.Items = append(page.Items, ProjectLine{Name: p.Name, Href: "/p/" + p.ID,
			Words: r.Say(message.New(ProjectLineText, message.Count("count", len(p.Pads)),
				message.Name("zone", p.TimeZone)))})
	}
	for _, s := range shared {
		page.Items = append(page.Items, ProjectLine{Name: s.Project.Name, Href: "/p/" + s.Project.ID,
			Words: r.Say(message.New(sharedProject, message.Term("role", s.Role),
				message.Count("count", len(s.Project.Pads))))})
	}
	return page
}

// Trouble is the page of an error, in words for the person who met it.
type Trouble struct {
	Frame
	Headline string
	Lines    []string
}

func (Trouble) template() string { return "error" }

// Plain returns the surroundings of a page that belongs to no project.
func Plain(r say.Reader, title string, sample, signedIn bool) Frame {
	return Frame{Lang: r.Language, Project: "dryslot", Title: r.Say(message.New(PageTitle, message.Text("page", title),
		message.Name("project", "dryslot"))), Sample: sample, SignedIn: signedIn, Foot: foot(r, BootMarkBoth)}
}

// NewSources makes the page of cautions and limits.
func NewSources(s Setting) Sources {
	p := Sources{Frame: s.frame(s.say(SourcesTitle), ""), People: s.people(), Limits: s.limits()}
	p.SourcesHref = ""
	for _, l := range []string{p.Weather, p.Attribution} {
		if l != "" {
			p.WeatherLines = append(p.WeatherLines, l)
		}
	}
	return p
}
