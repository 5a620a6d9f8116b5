package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/accounts"
	"dryslot/internal/fault"
)

const memberColumns = `account::text as account, project::text as project, member::text as member, role, name, since`

// Membership implements accounts.Store.
func (s *Store) Membership(ctx context.Context, member, project string) (m accounts.Member, err error) {
	if _, err := parseID(project); err != nil {
		return m, err
	}
	// One round trip: the statements of a batch are one transaction, whose account
	// the first sets.
	batch := &pgx.Batch{}
	batch.Queue(`select set_config('dryslot.account', $1, true)`, member)
	batch.Queue(`select `+memberColumns+` from members where member = $1 and project = $2`, member, project)
	sent := s.pool.SendBatch(ctx, batch)
	_, err = sent.Exec()
	if err == nil {
		var rows pgx.Rows
		if rows, err = sent.Query(); err == nil {
			m, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[accounts.Member])
		}
	}
	if errors.Is(err, pgx.ErrNoRows) {
		err = fault.Of(fault.NotFound, accounts.NoMember)
	}
	if closed := sent.Close(); err == nil {
		err = closed
	}
	return m, wrap("looking a membership up", err)
}

// Memberships implements accounts.Store.
func (s *Store) Memberships(ctx context.Context, member string) ([]accounts.Member, error) {
	return ownRows[accounts.Member](ctx, s, member,
		`select `+memberColumns+` from members where member = $1 order by since, project`, member)
}

// Members implements accounts.Store.
func (s *Store) Members(ctx context.Context, account, project string) ([]accounts.Member, error) {
	return ownRows[accounts.Member](ctx, s, account, `select `+memberColumns+` from members
		where account = $1 and project = $2 order by since, member`, account, project)
}

// RemoveMember implements accounts.Store.
func (s *Store) RemoveMember(ctx context.Context, account, project, member string) error {
	if _, err := parseID(member); err != nil {
		return fault.Of(fault.NotFound, accounts.NoMember)
	}
	return s.in(ctx, account, func(t pgx.Tx) error {
		tag, err := t.Exec(ctx, `delete from members where account = $1 and project = $2 and member = $3`, account,
			project, member)
		if err == nil && tag.RowsAffected() == 0 {
			return fault.Of(fault.NotFound, accounts.NoMember)
		}
		return wrap("removing a member", err)
	})
}

// CreateInvitation implements accounts.Store.
func (s *Store) CreateInvitation(ctx context.Context, account, project string, role accounts.Role, expires time.Time,
	most int) (
	string, accounts.Invitation, error) {
	key, kept := newSecret(), accounts.Invitation{Project: project, Role: role, ExpiresAt: expires}
	err := s.InAccount(ctx, account, func(ctx context.Context, tx *AccountTx) error {
		if _, err := tx.LockProject(ctx, project); err != nil { // two at the same time would both be the last
			return err
		}
		var n int
		err := tx.tx.QueryRow(ctx, `select count(*) from invitations where account = $1 and project = $2`, account,
			project).Scan(&n)
		if err == nil && n >= most {
			return fault.Of(fault.Conflict, accounts.TooManyInvitations)
		}
		if kept.ID, err = newID(); err != nil {
			return err
		}
		err = tx.tx.QueryRow(ctx,
			`insert into invitations (account, id, project, role, expires_at) values ($1, $2, $3, $4, $5)
			returning created_at`, account, kept.ID, project, role, expires).Scan(&kept.CreatedAt)
		if err != nil {
			return wrap("making an invitation", err)
		}
		_, err = tx.tx.Exec(ctx, `insert into invitation_keys (digest, account, invitation) values ($1, $2, $3)`,
			digest(key), account, kept.ID)
		return wrap("making an invitation", err)
	})
	if err != nil {
		return "", accounts.Invitation{}, err
	}
	return key, kept, nil
}

// Invitations implements accounts.Store.
func (s *Store) Invitations(ctx context.Context, account, project string,
	now time.Time) ([]accounts.Invitation, error) {
	return ownRows[accounts.Invitation](ctx, s, account,
		`select id::text as id, project::text as project, role, created_at, expires_at
		from invitations where account = $1 and project = $2 and expires_at > $3 order by created_at, id`, account,
		project, now)
}

// DeleteInvitation implements accounts.Store.
func (s *Store) DeleteInvitation(ctx context.Context, account, project, id string) error {
	if _, err := parseID(id); err != nil {
		return fault.Of(fault.NotFound, accounts.NoInvitation)
	}
	return s.in(ctx, account, func(t pgx.Tx) error {
		tag, err := t.Exec(ctx, `delete from invitations where account = $1 and project = $2 and id = $3`, account,
			project, id)
		if err == nil && tag.RowsAffected() == 0 {
			return fault.Of(fault.NotFound, accounts.NoInvitation)
		}
		return wrap("withdrawing an invitation", err)
	})
}

// InvitationByKey implements accounts.Store.
func (s *Store) InvitationByKey(ctx context.Context, key string, now time.Time) (out accounts.Invited, err error) {
	err = s.pool.QueryRow(ctx, `select account::text, invitation::text from invitation_keys where digest = $1`,
		digest(key)).Scan(&out.Account, &out.ID)
	if errors.Is(err, pgx.ErrNoRows) {
		return out, fault.Of(fault.Forbidden, accounts.InvitationSpent)
	}
	if err != nil {
		return out, wrap("looking an invitation up", err)
	}
	err = s.in(ctx, out.Account, func(t pgx.Tx) error {
		return t.QueryRow(ctx, `select i.project::text, i.role, i.created_at, i.expires_at, p.spec ->> 'name'
			from invitations i join projects p on p.account = i.account and p.id = i.project
			where i.account = $1 and i.id = $2 and i.expires_at > $3`, out.Account, out.ID, now).
			Scan(&out.Project, &out.Role, &out.CreatedAt, &out.ExpiresAt, &out.ProjectName)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return out, fault.Of(fault.Forbidden, accounts.InvitationSpent)
	}
	return out, wrap("looking an invitation up", err)
}

// AddMember implements accounts.Store. The invitation is looked at again once the
// project is locked: it may have been withdrawn meanwhile.
func (s *Store) AddMember(ctx context.Context, key string, m accounts.Member, most int, now time.Time) error {
	return s.InAccount(ctx, m.Account, func(ctx context.Context, tx *AccountTx) error {
		if _, err := tx.LockProject(ctx, m.Project); err != nil {
			return err
		}
		tag, err := tx.tx.Exec(ctx, `
			insert into members (account, project, member, role, name)
			select $1, $2, $3, $4, $5 where exists (
				select from invitation_keys k join invitations i on i.account = k.account and i.id = k.invitation
				where k.digest = $6 and i.account = $1 and i.project = $2 and i.role = $4 and i.expires_at > $7)
			on conflict (account, project, member) do update set role = excluded.role, name = excluded.name`,
			m.Account, m.Project, m.Member, string(m.Role), m.Name, digest(key), now)
		if err != nil {
			return wrap("adding a member", err)
		}
		if tag.RowsAffected() == 0 {
			return fault.Of(fault.Forbidden, accounts.InvitationSpent)
		}
		var n int
		err = tx.tx.QueryRow(ctx, `select count(*) from members where account = $1 and project = $2`, m.Account,
			m.Project).Scan(&n)
		if err == nil && n > most {
			return fault.Of(fault.Conflict, accounts.TooManyMembers)
		}
		return wrap("counting members", err)
	})
}

// RenewCalendarKey implements web.Tx.
func (t *AccountTx) RenewCalendarKey(ctx context.Context, project string) error {
	if _, err := t.LockProject(ctx, project); err != nil {
		return err
	}
	key := newSecret()
	batch := &pgx.Batch{}
	batch.Queue(`update projects set calendar_key = $3 where account = $1 and id = $2`, t.account, project, key)
	batch.Queue(`delete from calendar_keys where account = $1 and project = $2`, t.account, project)
	batch.Queue(`insert into calendar_keys (digest, account, project) values ($1, $2, $3)`, digest(key), t.account,
		project)
	return wrap("renewing a calendar's key", t.tx.SendBatch(ctx, batch).Close())
}
