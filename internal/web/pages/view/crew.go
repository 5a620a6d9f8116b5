package view

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Codes of the pages of a project's members.
const (
	CrewPage       message.Code = "crew_title"
	crewMember     message.Code = "crew_member"     // name, role_term, since_date
	crewRemove     message.Code = "crew_remove"     // name
	crewInvitation message.Code = "crew_invitation" // role_term, until_date
	crewRole       message.Code = "crew_role"       // role_term
	JoinPage       message.Code = "join_title"
	joinWhat       message.Code = "join_what"      // project, role_term
	sharedProject  message.Code = "shared_project" // role_term, count
	entryBy        message.Code = "entry_by"       // name
)

// Crew lists who takes part in a project.
type Crew struct {
	Frame
	Action      string
	Members     []CrewLine
	Invitations []CrewLine
	Roles       []Choice
	Link        string // made just now, shown this once
	Wrong       []string
}

func (Crew) template() string { return "crew" }

// CrewLine is one member or link.
type CrewLine struct{ ID, Words, Remove string }

// NewCrew makes the page without its lists.
func NewCrew(s Setting) Crew {
	page := Crew{Frame: s.frame(s.say(CrewPage), NavAlerts), Action: s.href("/crew")}
	for _, role := range []string{"crew", "viewer", "owner"} {
		page.Roles = append(page.Roles, Choice{Value: role, Words: s.say(crewRole, message.Term("role", role))})
	}
	return page
}

// AddMember adds a member.
func (p *Crew) AddMember(s Setting, id, name, role string, since time.Time) {
	p.Members = append(p.Members, CrewLine{ID: id, Remove: s.say(crewRemove, message.Text("name", name)),
		Words: s.say(crewMember, message.Text("name", name), message.Term("role", role),
			message.Date("since", unit.DateOf(since, s.Zone)))})
}

// AddInvitation adds a link that can be used.
func (p *Crew) AddInvitation(s Setting, id, role string, until time.Time) {
	p.Invitations = append(p.Invitations, CrewLine{ID: id,
		Words: s.say(crewInvitation, message.Term("role", role), message.Date("until", unit.DateOf(until, s.Zone)))})
}

// Join asks whoever has a link to take part in a project.
type Join struct {
	Frame
	What   string
	Action string
	Known  bool // the browser is signed in
	Mails  bool // links to sign in can be mailed
	Name   string
	Wrong  []string
}

func (Join) template() string { return "join" }

// NewJoin makes the page.
func NewJoin(f Frame, r say.Reader, project, role, action string) Join {
	return Join{Frame: f, Action: action, What: r.Say(message.New(joinWhat, message.Name("project", project),
		message.Term("role", role)))}
}

// SharedProject is a project of another account that the reader takes part in.
type SharedProject struct {
	Project pour.Project
	Role    string
}
