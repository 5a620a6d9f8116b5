package postgres_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
	"dryslot/internal/idempotency"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/today"
)

// Without any help of the service's queries, row-level security shows a member
// its own project alone, lets it change what its role allows, and ends with the
// membership.
func TestRowLevelSecurityFollowsMembership(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p, hidden := w.newProject(t), w.newProject(t)
	for _, x := range []pour.Project{p, hidden} {
		w.newAlert(t, x.ID, w.newRecipient(t, x.ID).ID, "k "+x.ID)
		w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
			_, logged := tx.AppendLog(ctx, x.ID, pour.LogEntry{Kind: pour.EntryNote, At: noon, RecordedAt: noon})
			_, planned := tx.AddPlan(ctx, x.ID, aPlan("first"))
			return errors.Join(logged, planned, tx.KeepDaySteps(ctx, x.ID, []today.Step{{Pad: "P1", PlaceFrom: noon}}))
		})
		fill(t, w, `insert into alert_events (account, project, date, kind, number, holds, held_until)
			values ($1, $2, '2026-06-10', 'rain', 1, true, now())`, w.account, x.ID)
	}
	w.in(t, func(ctx context.Context, tx *postgres.AccountTx) error {
		return tx.Remember(ctx, "r", "k", idempotency.Answer{}, noon)
	})
	w.newMail(t, "yard@example.org")
	member := w.newAccount(t, "member")
	join := func(role accounts.Role) {
		t.Helper()
		key, _, err := w.CreateInvitation(t.Context(), w.account, p.ID, role, noon.Add(time.Hour), 50)
		must(t, err)
		must(t, w.AddMember(t.Context(), key, accounts.Member{Account: w.account, Project: p.ID, Member: member,
			Role: role, Name: "Ana"}, 50, noon))
	}
	conn := service(t, w)
	act := func(project string) {
		t.Helper()
		_, err := conn.Exec(t.Context(),
			`select set_config('dryslot.account', $1, false), set_config('dryslot.member', $2, false),
			set_config('dryslot.project', $3, false)`, w.account, member, project)
		must(t, err)
	}
	count := func(table string) (n int) {
		t.Helper()
		must(t, conn.QueryRow(t.Context(), "select count(*) from "+table).Scan(&n))
		return n
	}
	tried := 0
	shown := []string{"projects", "log_entries", "plans", "plan_mornings", "recipients", "deliveries", "day_steps",
		"alert_events", "answers"}
	private := []string{"accounts", "session_browsers", "token_names", "account_mails", "invitations"}
	changes := []struct {
		sql    string
		needed accounts.Role
	}{
		{`insert into log_entries (account, id, project, pad, at, recorded_at, entry)
			values ($1, gen_random_uuid(), $2, '', now(), now(), '{}')`, accounts.RoleCrew},
		{`update deliveries set tries = tries + 1 where account = $1 and project = $2`, accounts.RoleCrew},
		{`update projects set revision = revision + 1 where account = $1 and id = $2`, accounts.RoleOwner},
		{`delete from recipients where account = $1 and project = $2`, accounts.RoleOwner},
		{`insert into recipients (account, id, project, kind, address, secret, created_at)
			values ($1, gen_random_uuid(), $2, 'webhook', 'x', '', now())`, accounts.RoleOwner},
		{`delete from projects where account = $1 and id = $2`, accounts.RoleAccount},
		{`insert into members (account, project, member, role, name) values ($1, $2, $1, 'owner', 'x')`,
			accounts.RoleAccount},
		{`update members set role = 'owner' where account = $1 and project = $2`, accounts.RoleAccount},
		{`delete from members where account = $1 and project = $2`, accounts.RoleAccount},
	}
	for _, role := range []accounts.Role{"", accounts.RoleViewer, accounts.RoleCrew, accounts.RoleOwner} {
		if role != "" {
			join(role)
		}
		for _, project := range []string{p.ID, hidden.ID} {
			act(project)
			is := role
			if project != p.ID {
				is = ""
			}
			for _, table := range shown {
				want := is != ""
				if n := count(table); (n > 0) != want {
					t.Errorf("%q on project %v: %s shows %d rows", is, project == p.ID, table, n)
				}
				tried++
			}
			if n := count("projects"); is != "" && n != 1 {
				t.Errorf("%q sees %d projects", is, n)
			}
			for _, table := range private {
				if n := count(table); n != 0 {
					t.Errorf("%q: %s shows %d rows", is, table, n)
				}
				tried++
			}
			for _, c := range changes {
				tag, err := conn.Exec(t.Context(), c.sql, w.account, project)
				if err != nil && !denied(err) {
					t.Errorf("%q: %s: %v", is, c.sql, err)
				}
				if done := err == nil && tag.RowsAffected() > 0; done != is.May(c.needed) {
					t.Errorf("%q: %s changed %d rows: %v", is, c.sql, tag.RowsAffected(), err)
				}
				tried++
			}
		}
	}
	must(t, w.RemoveMember(t.Context(), w.account, p.ID, member))
	act(p.ID)
	for _, table := range append(shown, private...) {
		if n := count(table); n != 0 {
			t.Errorf("after the membership %s shows %d rows", table, n)
		}
		tried++
	}
	t.Logf("%d statements tried", tried)
}

// A link that was withdrawn or has expired makes nobody a member, also when it
// is withdrawn while somebody joins.
func TestInvitations(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx, p, member := t.Context(), w.newProject(t), w.newAccount(t, "member")
	m := accounts.Member{Account: w.account, Project: p.ID, Member: member, Role: accounts.RoleCrew, Name: "Ana"}
	key, kept, err := w.CreateInvitation(ctx, w.account, p.ID, accounts.RoleCrew, noon, 2)
	must(t, err)
	_, err = w.InvitationByKey(ctx, key, noon)
	wantKind(t, "an expired link", err, fault.Forbidden)
	wantKind(t, "joining by it", w.AddMember(ctx, key, m, 50, noon), fault.Forbidden)
	must(t, w.DeleteInvitation(ctx, w.account, p.ID, kept.ID))
	wantKind(t, "withdrawing it again", w.DeleteInvitation(ctx, w.account, p.ID, kept.ID), fault.NotFound)
	key, kept, err = w.CreateInvitation(ctx, w.account, p.ID, accounts.RoleCrew, noon.Add(time.Hour), 2)
	must(t, err)
	in, err := w.InvitationByKey(ctx, key, noon)
	must(t, err)
	if in.Project != p.ID || in.ProjectName != p.Name || in.Role != accounts.RoleCrew {
		t.Errorf("the link is for %+v", in)
	}
	raised := m
	raised.Role = accounts.RoleOwner
	wantKind(t, "another role than the link's", w.AddMember(ctx, key, raised, 50, noon), fault.Forbidden)
	must(t, w.AddMember(ctx, key, m, 1, noon))
	must(t, w.AddMember(ctx, key, m, 1, noon)) // again changes nothing
	late := m
	late.Member = w.newAccount(t, "late")
	wantKind(t, "one too many", w.AddMember(ctx, key, late, 1, noon), fault.Conflict)
	must(t, w.DeleteInvitation(ctx, w.account, p.ID, kept.ID))
	wantKind(t, "by a withdrawn link", w.AddMember(ctx, key, late, 50, noon), fault.Forbidden)
	if all, err := w.Members(ctx, w.account, p.ID); err != nil || len(all) != 1 || all[0].Name != "Ana" {
		t.Errorf("members %+v, %v", all, err)
	}
	_, err = w.Membership(ctx, late.Member, p.ID)
	wantKind(t, "who did not join", err, fault.NotFound)
}
