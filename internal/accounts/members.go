package accounts

import (
	"context"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// Role says what a member of a project may do.
type Role string

// The roles, each with what those after it may do.
const (
	RoleAccount Role = "account" // the account that made the project: invites, removes members, deletes it
	RoleOwner   Role = "owner"   // changes the project and who is alerted
	RoleCrew    Role = "crew"    // logs what happened
	RoleViewer  Role = "viewer"  // reads
)

// rank orders the roles.
func (r Role) rank() int {
	return map[Role]int{RoleViewer: 1, RoleCrew: 2, RoleOwner: 3, RoleAccount: 4}[r]
}

// May reports whether a role allows what another is needed for.
func (r Role) May(needed Role) bool { return r.rank() > 0 && r.rank() >= needed.rank() }

// Bounds of membership (judgement).
const (
	InvitationLife  = 14 * 24 * time.Hour // of a link by which others become members
	MostMembers     = 50                  // of a project
	MostInvitations = 20                  // of a project
)

// Member is an account that takes part in a project.
type Member struct {
	Account string // that made the project
	Project string
	Member  string
	Role    Role
	Name    string // that the others know the member by
	Since   time.Time
}

// Invitation is a link by which others become members of a project.
type Invitation struct {
	ID        string
	Project   string
	Role      Role
	CreatedAt time.Time
	ExpiresAt time.Time
}

// Invited is what an invitation is for.
type Invited struct {
	Invitation
	Account     string
	ProjectName string
}

type actingKey struct{}

// Acting returns a context in which transactions of the member's project are
// the member's: they see that project alone and change what its role allows.
func Acting(ctx context.Context, m Member) context.Context {
	return context.WithValue(ctx, actingKey{}, m)
}

// ActingAs returns the member of a context; false: whoever asks is the account itself.
func ActingAs(ctx context.Context) (Member, bool) {
	m, ok := ctx.Value(actingKey{}).(Member)
	return m, ok
}

// RoleOn returns as whom an account takes part in a project. Where it does not,
// and where there is no such project, it is the account itself: its own rows
// show that there is none.
func (s *Service) RoleOn(ctx context.Context, account, project string) (Member, error) {
	m, err := s.Store.Membership(ctx, account, project)
	if fault.KindOf(err) == fault.NotFound {
		return Member{Account: account, Project: project, Member: account, Role: RoleAccount}, nil
	}
	return m, err
}

// Memberships lists the projects of other accounts that an account takes part in.
func (s *Service) Memberships(ctx context.Context, account string) ([]Member, error) {
	return s.Store.Memberships(ctx, account)
}

// Members lists the members of a project, the first to join first.
func (s *Service) Members(ctx context.Context, account, project string) ([]Member, error) {
	return s.Store.Members(ctx, account, project)
}

// RemoveMember takes a member out of a project; fault.NotFound if it is none.
func (s *Service) RemoveMember(ctx context.Context, account, project, member string) error {
	return s.Store.RemoveMember(ctx, account, project, member)
}

// Invite makes a link by which others become members of a project in a role, and
// returns its key; fault.Conflict if there are too many.
func (s *Service) Invite(ctx context.Context, account, project string,
	role Role) (key string, kept Invitation, err error) {
	if !RoleOwner.May(role) || !role.May(RoleViewer) {
		var bad fault.List
		bad.Break("role", string(role), fault.OneOf(string(RoleOwner), string(RoleCrew), string(RoleViewer)))
		return "", kept, bad.Broken(InvitationRefused)
	}
	return s.Store.CreateInvitation(ctx, account, project, role, s.Wall().Add(InvitationLife), MostInvitations)
}

// Invitations lists the links of a project that can be used.
func (s *Service) Invitations(ctx context.Context, account, project string) ([]Invitation, error) {
	return s.Store.Invitations(ctx, account, project, s.Wall())
}

// Withdraw makes a link open nothing any more; members that joined by it stay.
func (s *Service) Withdraw(ctx context.Context, account, project, id string) error {
	return s.Store.DeleteInvitation(ctx, account, project, id)
}

// InvitedBy returns what a link is for. One that was withdrawn, has expired or
// never was is fault.Forbidden.
func (s *Service) InvitedBy(ctx context.Context, key string) (Invited, error) {
	return s.Store.InvitationByKey(ctx, key, s.Wall())
}

// Join makes an account a member of the project of a link under a name. Who is
// one already gets the link's role and the new name. The errors are those of
// InvitedBy, fault.Invalid for the name, and fault.Conflict where the account made
// the project itself or the project has too many members.
func (s *Service) Join(ctx context.Context, key, account, name string) (project string, err error) {
	if name, err = checkName(name, JoinRefused); err != nil {
		return "", err
	}
	in, err := s.InvitedBy(ctx, key)
	if err != nil {
		return "", err
	}
	if in.Account == account {
		return "", fault.Of(fault.Conflict, JoinOwn)
	}
	m := Member{Account: in.Account, Project: in.Project, Member: account, Role: in.Role, Name: name}
	return in.Project, s.Store.AddMember(ctx, key, m, MostMembers, s.Wall())
}

// checkName refuses a name of no or of too many characters, or of such as do not print.
func checkName(name string, code message.Code) (string, error) {
	name = strings.TrimSpace(name)
	var bad fault.List
	switch {
	case name == "":
		bad.Break("name", name, fault.RuleOf(fault.TextEmpty))
	case utf8.RuneCountInString(name) > LongestName:
		bad.Break("name", name, fault.Characters(LongestName))
	case !utf8.ValidString(name) || strings.ContainsFunc(name, unicode.IsControl):
		bad.Break("name", strings.ToValidUTF8(name, "?"), fault.RuleOf(fault.TextUnfit))
	}
	return name, bad.Broken(code)
}
