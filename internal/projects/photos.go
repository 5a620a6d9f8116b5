package projects

import (
	"context"
	"fmt"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/photo"
	"dryslot/internal/pour"
)

// RecordPhotos keeps photos and the entry that shows them, in one transaction.
// Where a project has as many photos as it may, or one entry gets too many, the
// error is fault.Invalid and nothing is kept.
func (s *Service) RecordPhotos(ctx context.Context, account, project string, e pour.LogEntry, all []photo.Photo) (
	out Recorded, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, project)
		if err != nil {
			return err
		}
		have, err := tx.Photos(ctx, p.ID)
		if err != nil {
			return fmt.Errorf("projects: count photos: %w", err)
		}
		var bad fault.List
		if len(all) > pour.MostPhotos {
			bad.Break("photos", fmt.Sprint(len(all)), fault.AtMost(pour.MostPhotos))
		} else if s.MostPhotos > 0 && len(have)+len(all) > s.MostPhotos {
			bad.Break("photos", fmt.Sprint(len(have)+len(all)), fault.RuleOf(PhotosFull, message.Count("max", s.MostPhotos)))
		}
		if err := bad.Broken(photo.Refused); err != nil {
			return err
		}
		for _, x := range all {
			id, err := tx.AddPhoto(ctx, p.ID, x)
			if err != nil {
				return fmt.Errorf("projects: keep a photo: %w", err)
			}
			e.Photos = append(e.Photos, id)
		}
		out, err = s.Record(ctx, account, project, e)
		return err
	})
	return out, err
}
