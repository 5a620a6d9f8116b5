package alerts

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
)

// mostRecipients bounds the recipients of one project: each alert is kept and
// tried for every one of them (judgement: a crew, their office and a
// client are some ten).
const mostRecipients = 50

// AddRecipient adds a recipient of a project's alerts. A webhook gets a signing
// secret, which the answer shows. Kind and address are checked: errors are
// fault.NotFound and fault.Invalid.
func (s *Service) AddRecipient(ctx context.Context, account string, r notify.Recipient) (notify.Recipient, error) {
	if err := r.Check(); err != nil {
		return notify.Recipient{}, err
	}
	r.CreatedAt = s.Now()
	if r.Kind == notify.Webhook {
		key := make([]byte, 32) // Standard Webhooks: 24 to 64 bytes
		if _, err := io.ReadFull(s.Random, key); err != nil {
			return notify.Recipient{}, fmt.Errorf("alerts: signing secret: %w", err)
		}
		r.Secret = "whsec_" + base64.StdEncoding.EncodeToString(key)
	}
	err := s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, r.Project)
		if err != nil {
			return err
		}
		have, err := tx.Recipients(ctx, p.ID)
		if err != nil {
			return err
		}
		if len(have) >= mostRecipients {
			var bad fault.List
			bad.Break("address", r.Address, fault.RuleOf(RecipientsFull, message.Count("max", mostRecipients)))
			return bad.Broken(RecipientRefused)
		}
		if r, err = tx.AddRecipient(ctx, r); err != nil {
			return err
		}
		return s.Projects.RaiseDue(ctx, account, p.ID)
	})
	return r, err
}

// TestRecipient sends a recipient a test alert: what would be told of tomorrow
// now. Asking again within the same minute sends nothing more.
func (s *Service) TestRecipient(ctx context.Context, account, project, recipient string) (d Delivery, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		to, err := recipientOf(ctx, tx, Delivery{Alert: notify.Alert{Project: project, Recipient: recipient}})
		if err != nil {
			return err
		}
		in, err := s.Projects.Situation(ctx, account, project)
		if err != nil {
			return err
		}
		r := raising{Service: s, tx: tx, in: in, by: in.Planned}
		b, ok := r.brief(in.Today().AddDays(1))
		if !ok {
			return errors.New("alerts: tomorrow is not scored")
		}
		b.Kind, b.DueAt = notify.Test, in.Now
		minute := in.Now.In(in.Zone).Format("1504")
		b.Key = notify.Key(project, notify.Test+notify.Kind("-"+minute), in.Today(), to.ID)
		if _, err = r.add(ctx, b, to); err != nil {
			return err
		}
		d, err = tx.Alert(ctx, b.Key)
		return err
	})
	return d, err
}
