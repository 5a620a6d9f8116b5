package projects

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/photo"
	"dryslot/internal/pour"
)

// RecordPhotos keeps photos and the entry that shows them, in one transaction.
// Where a project has as many photos as it may, or one entry gets too many, the
// error is fault.Invalid and nothing is kept. An entry whose id is there already is
// answered as Record does, and its photos are not kept twice.
func (s *Service) RecordPhotos(ctx context.Context, account, project string, e pour.LogEntry, all []photo.Photo) (
	out Recorded, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		// The same entry may be sent again while it is taken.
		if _, err := tx.LockProject(ctx, project); err != nil {
			return err
		}
		kept, err := keptBefore(ctx, tx, project, e.ID)
		if err != nil {
			return err
		}
		if kept != nil {
			e.Photos = kept.Photos
		} else if e.Photos, err = s.keepPhotos(ctx, tx, project, all); err != nil {
			return err
		}
		out, err = s.Record(ctx, account, project, e)
		return err
	})
	return out, err
}

// KeepPhoto keeps a photo that entries may show, and returns its id. Where a project
// has as many photos as it may, the error is fault.Invalid.
func (s *Service) KeepPhoto(ctx context.Context, account, project string, p photo.Photo) (id string, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		ids, err := s.keepPhotos(ctx, tx, project, []photo.Photo{p})
		if err == nil {
			id = ids[0]
		}
		return err
	})
	return id, err
}

// DeletePhoto deletes a photo that no entry shows. What an entry shows stays with the
// log, even where the entry was voided: fault.Conflict. Where there is no such photo
// the error is fault.NotFound.
func (s *Service) DeletePhoto(ctx context.Context, account, project, id string) error {
	err := s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		return tx.DeletePhoto(ctx, project, id)
	})
	if err != nil {
		return fmt.Errorf("projects: delete a photo: %w", err)
	}
	return nil
}

func (s *Service) keepPhotos(ctx context.Context, tx Tx, project string, all []photo.Photo) (ids []string, err error) {
	p, err := tx.LockProject(ctx, project)
	if err != nil {
		return nil, err
	}
	have, err := tx.Photos(ctx, p.ID)
	if err != nil {
		return nil, fmt.Errorf("projects: count photos: %w", err)
	}
	var bad fault.List
	if len(all) > pour.MostPhotos {
		bad.Break("photos", fmt.Sprint(len(all)), fault.AtMost(pour.MostPhotos))
	} else if s.MostPhotos > 0 && len(have)+len(all) > s.MostPhotos {
		bad.Break("photos", fmt.Sprint(len(have)+len(all)),
			fault.RuleOf(PhotosFull, message.Count("max", s.MostPhotos)))
	}
	if err := bad.Broken(photo.Refused); err != nil {
		return nil, err
	}
	for _, x := range all {
		id, err := tx.AddPhoto(ctx, p.ID, x)
		if err != nil {
			return nil, fmt.Errorf("projects: keep a photo: %w", err)
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// checkPhotos refuses an entry that shows what is no photo of its project.
func checkPhotos(ctx context.Context, tx Tx, project string, e pour.LogEntry) error {
	if len(e.Photos) == 0 {
		return nil
	}
	have, err := tx.Photos(ctx, project)
	if err != nil {
		return fmt.Errorf("projects: look photos up: %w", err)
	}
	var bad fault.List
	for i, id := range e.Photos {
		if !slices.ContainsFunc(have, func(p photo.Photo) bool { return strings.EqualFold(p.ID, id) }) {
			bad.Break(fmt.Sprintf("photos[%d]", i), id, fault.RuleOf(PhotoUnknown))
		}
	}
	return bad.Broken(pour.EntryBreaksRule)
}
