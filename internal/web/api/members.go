package api

import (
	"context"
	"net/http"
	"net/url"
	"reflect"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/pour"
	"dryslot/internal/web"
)

// memberView is a member as answered.
type memberView struct {
	ID    string        `json:"id"`
	Role  accounts.Role `json:"role"`
	Name  string        `json:"name"`
	Since time.Time     `json:"since"`
}

// invitationView is a link by which others become members; its address only
// once, when made.
type invitationView struct {
	ID        string        `json:"id"`
	Role      accounts.Role `json:"role"`
	CreatedAt time.Time     `json:"created_at"`
	ExpiresAt time.Time     `json:"expires_at"`
	URL       *string       `json:"url,omitempty"`
}

// invitationOrder is a link as asked for.
type invitationOrder struct {
	Role string `json:"role" required:"true" enum:"owner,crew,viewer"`
}

// joinOrder is what a new member sends.
type joinOrder struct {
	Key  string `json:"key" required:"true"`
	Name string `json:"name" required:"true" minLength:"1" maxLength:"60"`
}

// membershipView is a project of another account that the account takes part in.
type membershipView struct {
	Project string        `json:"project"`
	Role    accounts.Role `json:"role"`
	Name    string        `json:"name"`
	Since   time.Time     `json:"since"`
}

type memberIn struct {
	InProject
	MID string `path:"mid" doc:"The member's id"`
}

type invitationIn struct {
	InProject
	IID string `path:"iid" doc:"The invitation's id"`
}

func (s *server) memberRoutes() {
	const members, invitations = "/v1/projects/{id}/members", "/v1/projects/{id}/invitations"
	handle(s, route{method: http.MethodGet, path: members, id: "list-members", summary: "Who takes part in a project"},
		s.listMembers)
	handle(s, route{method: http.MethodPost, path: members, id: "join-project",
		summary: "Take part in a project, by the key of an invitation", status: http.StatusCreated,
		body: reflect.TypeFor[joinOrder](), headers: []string{"Location"}, role: accounts.RoleViewer, stranger: true},
		s.joinProject)
	handle(s, route{method: http.MethodDelete, path: members + "/{mid}", id: "remove-member",
		summary: "Remove a member, or leave a project", status: http.StatusNoContent, role: accounts.RoleViewer},
		s.removeMember)
	handle(s, route{method: http.MethodPost, path: invitations, id: "create-invitation",
		summary: "Make a link by which others take part in a project", status: http.StatusCreated,
		body: reflect.TypeFor[invitationOrder](), headers: []string{"Location"}, secret: true,
		role: accounts.RoleAccount}, s.createInvitation)
	handle(s, route{method: http.MethodGet, path: invitations, id: "list-invitations",
		summary: "The links that can be used", role: accounts.RoleAccount}, s.listInvitations)
	handle(s, route{method: http.MethodDelete, path: invitations + "/{iid}", id: "withdraw-invitation",
		summary: "Withdraw a link; members that joined by it stay", status: http.StatusNoContent,
		role: accounts.RoleAccount}, s.withdrawInvitation)
}

// inOwn makes sure that a project is the account's before members are asked for.
func (s *server) inOwn(ctx context.Context, c *call, id string) error {
	return s.inProject(ctx, c, id, func(context.Context, web.Tx, pour.Project, *time.Location) error { return nil })
}

func (s *server) listMembers(ctx context.Context, c *call, in *listIn) (*reply[list[memberView]], error) {
	page, err := in.page()
	if err != nil {
		return nil, err
	}
	if err := s.inOwn(ctx, c, in.ID); err != nil {
		return nil, err
	}
	all, err := s.services.Accounts.Members(ctx, c.account, in.ID)
	if err != nil {
		return nil, err
	}
	var views []memberView
	for _, m := range all {
		views = append(views, memberView{m.Member, m.Role, m.Name, m.Since.UTC()})
	}
	out, err := part(views, page, func(v memberView) string { return v.ID })
	return &reply[list[memberView]]{Body: out}, err
}

// joinProject makes the caller a member. Its answer names the project by the
// key: whoever has a key may know what it is for.
func (s *server) joinProject(ctx context.Context, c *call, in *InProject) (*reply[membershipView], error) {
	doc, err := pour.Parse(c.body)
	if err != nil {
		return nil, err
	}
	var order joinOrder
	if err := doc.Read(&order); err != nil {
		return nil, err
	}
	to, err := s.services.Accounts.InvitedBy(ctx, order.Key)
	if fault.KindOf(err) == fault.Forbidden || err == nil && to.Project != in.ID {
		return nil, noProject(in.ID)
	}
	if err != nil {
		return nil, err
	}
	if _, err = s.services.Accounts.Join(ctx, order.Key, c.caller, order.Name); err != nil {
		return nil, err
	}
	m, err := s.services.Accounts.RoleOn(ctx, c.caller, in.ID)
	v := viewMembership(m)
	return &reply[membershipView]{Body: &v, Location: "/v1/projects/" + in.ID}, err
}

func viewMembership(m accounts.Member) membershipView {
	return membershipView{m.Project, m.Role, m.Name, m.Since.UTC()}
}

// removeMember takes a member out. A member may take out itself alone.
func (s *server) removeMember(ctx context.Context, c *call, in *memberIn) (*reply[struct{}], error) {
	if err := s.inOwn(ctx, c, in.ID); err != nil {
		return nil, err
	}
	if c.acts.Role != accounts.RoleAccount && in.MID != c.caller {
		return nil, c.tooLow(accounts.RoleAccount)
	}
	err := s.services.Accounts.RemoveMember(accounts.Acting(ctx, accounts.Member{}), c.account, in.ID, in.MID)
	return &reply[struct{}]{}, notThere(err, accounts.NoMember, "mid", in.MID, MemberID)
}

func (s *server) createInvitation(ctx context.Context, c *call, in *InProject) (*reply[invitationView], error) {
	var order invitationOrder
	if err := c.readUnkept(&order); err != nil {
		return nil, err
	}
	if err := s.inOwn(ctx, c, in.ID); err != nil {
		return nil, err
	}
	key, kept, err := s.services.Accounts.Invite(ctx, c.account, in.ID, accounts.Role(order.Role))
	if err != nil {
		return nil, err
	}
	v := viewInvitation(kept)
	v.URL = someText(s.PublicURL + "/join/" + url.PathEscape(key))
	return &reply[invitationView]{Body: &v, Location: "/v1/projects/" + in.ID + "/invitations"}, nil
}

func viewInvitation(i accounts.Invitation) invitationView {
	return invitationView{ID: i.ID, Role: i.Role, CreatedAt: i.CreatedAt.UTC(), ExpiresAt: i.ExpiresAt.UTC()}
}

func (s *server) listInvitations(ctx context.Context, c *call, in *listIn) (*reply[list[invitationView]], error) {
	page, err := in.page()
	if err != nil {
		return nil, err
	}
	if err := s.inOwn(ctx, c, in.ID); err != nil {
		return nil, err
	}
	all, err := s.services.Accounts.Invitations(ctx, c.account, in.ID)
	if err != nil {
		return nil, err
	}
	var views []invitationView
	for _, i := range all {
		views = append(views, viewInvitation(i))
	}
	out, err := part(views, page, func(v invitationView) string { return v.ID })
	return &reply[list[invitationView]]{Body: out}, err
}

func (s *server) withdrawInvitation(ctx context.Context, c *call, in *invitationIn) (*reply[struct{}], error) {
	if err := s.inOwn(ctx, c, in.ID); err != nil {
		return nil, err
	}
	err := s.services.Accounts.Withdraw(ctx, c.account, in.ID, in.IID)
	return &reply[struct{}]{}, notThere(err, accounts.NoInvitation, "iid", in.IID, InvitationID)
}
