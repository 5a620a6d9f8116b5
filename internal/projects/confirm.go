package projects

import (
	"context"
	"slices"

	"dryslot/internal/pour"
)

// Confirmation is a builder's answer to what was taken to have been done.
type Confirmation struct {
	Pads []string // that went as planned
	Not  []string // that were not placed
	By   string   // the member who answers; empty: the account of the project
}

// Confirm logs what was taken to have been done as planned of the pads named,
// each at its planned time, calls off those that were not placed, and plans
// again once, in one transaction. What is logged already, or was never taken to
// have been done, changes nothing, so that an answer sent twice is kept once.
func (s *Service) Confirm(ctx context.Context, account, project string, c Confirmation) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, project)
		if err != nil {
			return err
		}
		st, err := s.read(ctx, tx, p)
		if err != nil {
			return err
		}
		entries := c.entries(st.state.Proposed())
		if len(entries) == 0 {
			return nil
		}
		for _, e := range entries {
			told, err := st.follow(ctx, &e)
			if err != nil {
				return err
			}
			if e, err = s.append(ctx, tx, p, e, told.State.Rain); err != nil {
				return err
			}
			if err := st.enter(ctx, e); err != nil {
				return err
			}
		}
		_, _, err = s.planFrom(ctx, tx, st, "the day confirmed")
		return err
	})
}

// entries are those that an answer comes to.
func (c Confirmation) entries(proposed []pour.LogEntry) []pour.LogEntry {
	var out []pour.LogEntry
	for _, e := range proposed {
		switch {
		case slices.Contains(c.Pads, e.Pad):
		case slices.Contains(c.Not, e.Pad) && e.Kind == pour.EntryPlaced:
			e.Kind, e.Confirmed = pour.EntrySkipped, false
		default:
			continue
		}
		e.By = c.By
		out = append(out, e)
	}
	return out
}
