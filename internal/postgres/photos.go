package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
	"dryslot/internal/photo"
	"dryslot/internal/projects"
)

// AddPhoto implements projects.Tx.
func (t *AccountTx) AddPhoto(ctx context.Context, project string, p photo.Photo) (id string, err error) {
	if _, err := t.LockProject(ctx, project); err != nil {
		return "", err
	}
	if id, err = newID(); err != nil {
		return "", err
	}
	_, err = t.tx.Exec(ctx,
		`insert into photos (account, id, project, width, height, jpeg) values ($1, $2, $3, $4, $5, $6)`, t.account,
		id, project, p.Width, p.Height, p.JPEG)
	return id, wrap("keeping a photo", err)
}

// DeletePhoto implements projects.Tx.
func (t *AccountTx) DeletePhoto(ctx context.Context, project, id string) error {
	if _, err := t.LockProject(ctx, project); err != nil {
		return err
	}
	if _, err := parseID(id); err != nil {
		return err
	}
	var shown bool
	err := t.tx.QueryRow(ctx, `select exists (select from log_entries where account = $1 and project = $2
			and lower(entry->>'photos')::jsonb ? lower($3::text))
		from photos where account = $1 and project = $2 and id = $3::text::uuid`,
		t.account, project, id).Scan(&shown)
	if err == nil && shown {
		return fault.Of(fault.Conflict, projects.PhotoShown)
	}
	if err == nil {
		_, err = t.tx.Exec(ctx, `delete from photos where account = $1 and project = $2 and id = $3`, t.account,
			project, id)
	}
	return wrap("deleting a photo", err)
}

// Photos implements web.Tx.
func (t *AccountTx) Photos(ctx context.Context, project string) ([]photo.Photo, error) {
	if _, err := parseID(project); err != nil {
		return nil, err
	}
	rows, err := t.tx.Query(ctx, `select id::text, width, height from photos where account = $1 and project = $2
		order by id`, t.account, project)
	if err != nil {
		return nil, wrap("listing photos", err)
	}
	all, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (p photo.Photo, err error) {
		return p, r.Scan(&p.ID, &p.Width, &p.Height)
	})
	return all, wrap("listing photos", err)
}

// Photo implements web.Tx.
func (t *AccountTx) Photo(ctx context.Context, project, id string) (photo.Photo, error) {
	p := photo.Photo{ID: id}
	for _, x := range []string{project, id} {
		if _, err := parseID(x); err != nil {
			return p, err
		}
	}
	err := t.tx.QueryRow(ctx, `select width, height, jpeg from photos where account = $1 and project = $2 and id = $3`,
		t.account, project, id).Scan(&p.Width, &p.Height, &p.JPEG)
	return p, wrap("looking a photo up", err)
}
