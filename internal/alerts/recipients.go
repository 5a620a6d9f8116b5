package alerts

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// Codes of what goes wrong with a recipient; package say words them.
const (
	WantsNone message.Code = "recipient_wants_none"
	NotAgreed message.Code = "recipient_not_agreed"
)

// AddRecipient adds a recipient of a project's alerts. A webhook gets a signing
// secret, which the answer shows; a mail address gets one message that asks
// whether alerts are wanted, and no other before they are. Kind and address are
// checked: errors are fault.NotFound and fault.Invalid.
func (s *Service) AddRecipient(ctx context.Context, account string, r notify.Recipient) (notify.Recipient, error) {
	if err := r.Check(); err != nil {
		return notify.Recipient{}, err
	}
	if channel, ok := s.Channels[r.Kind].(AddressChecker); ok {
		if rule := channel.CheckAddress(r.Address); rule != nil {
			return notify.Recipient{}, fault.Of(fault.Invalid, notify.RecipientBreaksRule).At("address", r.Address,
				*rule)
		}
	}
	r.CreatedAt = s.Now()
	if err := s.giveSecret(&r); err != nil {
		return notify.Recipient{}, err
	}
	err := s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, r.Project)
		if err != nil {
			return err
		}
		if err := s.mayAdd(ctx, tx, r); err != nil {
			return err
		}
		own, err := tx.MailOfAccount(ctx)
		if err != nil {
			return err
		}
		if r.Kind == notify.Email && strings.EqualFold(own, r.Address) {
			r.ConfirmedAt = r.CreatedAt // whoever reads there asks for it
		}
		if r, err = tx.AddRecipient(ctx, r); err != nil {
			return err
		}
		if r.State() == notify.Unconfirmed {
			return s.ask(ctx, tx, p, r)
		}
		return s.Projects.RaiseDue(ctx, account, p.ID)
	})
	if r.Kind == notify.Email {
		r.Secret = "" // only the reader of the mail may know it
	}
	return r, err
}

// ChooseAlerts changes which alerts a recipient gets; nil: all. Errors are
// fault.NotFound and, where it would get none, fault.Invalid.
func (s *Service) ChooseAlerts(ctx context.Context, account, project, recipient string, kinds []notify.Kind) error {
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		p, err := tx.LockProject(ctx, project)
		if err != nil {
			return err
		}
		all, err := tx.Recipients(ctx, p.ID)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(all, func(r notify.Recipient) bool { return r.ID == recipient })
		if i < 0 {
			return fault.Of(fault.NotFound, RecipientUnknown)
		}
		all[i].Alerts = kinds
		if err := all[i].Check(); err != nil {
			return err
		}
		if err := tx.ChooseAlerts(ctx, p.ID, recipient, kinds); err != nil {
			return err
		}
		return s.Projects.RaiseDue(ctx, account, p.ID)
	})
}

// giveSecret makes the secret that a new recipient needs. A push subscription
// brings its own keys.
func (s *Service) giveSecret(r *notify.Recipient) error {
	key := make([]byte, 32) // Standard Webhooks: 24 to 64 bytes
	if _, err := io.ReadFull(s.Random, key); err != nil {
		return fmt.Errorf("alerts: a recipient's key: %w", err)
	}
	switch r.Kind {
	case notify.Email:
		r.Secret = base64.RawURLEncoding.EncodeToString(key)
	case notify.Webhook:
		r.Secret = "whsec_" + base64.StdEncoding.EncodeToString(key)
	}
	return nil
}

// mayAdd refuses a recipient beyond what a project may have, with
// fault.Invalid, and one whose reader stopped its alerts, with fault.Conflict.
func (s *Service) mayAdd(ctx context.Context, tx Tx, r notify.Recipient) error {
	have, err := tx.Recipients(ctx, r.Project)
	if err != nil {
		return err
	}
	if s.MostRecipients > 0 && len(have) >= s.MostRecipients {
		var bad fault.List
		bad.Break("address", r.Address, fault.RuleOf(RecipientsFull, message.Count("max", s.MostRecipients)))
		return bad.Broken(RecipientRefused)
	}
	for _, other := range have {
		if other.Kind == r.Kind && other.Address == r.Address && other.State() == notify.Stopped {
			return fault.Of(fault.Conflict, WantsNone)
		}
	}
	return nil
}

// ask asks the reader of a mail address whether alerts are wanted.
func (s *Service) ask(ctx context.Context, tx Tx, p pour.Project, to notify.Recipient) error {
	zone, err := p.Location()
	if err != nil {
		return err
	}
	today := unit.DateOf(s.Now(), zone)
	key := notify.Key(p.ID, notify.Confirm, today, to.ID)
	_, err = s.add(ctx, tx, notify.Alert{Key: key, Project: p.ID, Kind: notify.Confirm, Date: today, Recipient: to.ID,
		DueAt: s.Now(), Message: notify.ComposeConfirm(key, p.Name,
			say.For(p.Language, p.Units == place.UnitsUS))}, p.Account)
	return err
}

// Reader is a recipient as the page of its key shows it.
type Reader struct {
	notify.Recipient
	Project pour.Project
}

// ReaderOf returns the recipient of a key; fault.NotFound if it has none.
func (s *Service) ReaderOf(ctx context.Context, key string) (out Reader, err error) {
	err = s.ofKey(ctx, key, func(_ context.Context, _ Tx, p pour.Project, to notify.Recipient) error {
		out = Reader{to, p}
		return nil
	})
	return out, err
}

// Confirm has the recipient of a key get alerts from now on.
func (s *Service) Confirm(ctx context.Context, key string) error {
	return s.ofKey(ctx, key, func(ctx context.Context, tx Tx, p pour.Project, to notify.Recipient) error {
		if to.State() == notify.Active {
			return nil
		}
		if err := tx.ConfirmRecipient(ctx, p.ID, to.ID, s.Now()); err != nil {
			return err
		}
		return s.Projects.RaiseDue(ctx, p.Account, p.ID)
	})
}

// Stop has the recipient of a key get no alerts any more.
func (s *Service) Stop(ctx context.Context, key string) error {
	return s.ofKey(ctx, key, func(ctx context.Context, tx Tx, p pour.Project, to notify.Recipient) error {
		if to.State() == notify.Stopped {
			return nil
		}
		return tx.StopRecipient(ctx, p.ID, to.ID, s.Now())
	})
}

// ofKey runs fn with the recipient of a key, whose project is locked.
func (s *Service) ofKey(ctx context.Context, key string,
	fn func(context.Context, Tx, pour.Project, notify.Recipient) error) error {
	account, id, err := s.Store.RecipientByKey(ctx, key)
	if err != nil {
		return err
	}
	return s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		project, err := tx.ProjectOfRecipient(ctx, id)
		if err != nil {
			return err
		}
		p, err := tx.LockProject(ctx, project)
		if err != nil {
			return err
		}
		to, err := recipientOf(ctx, tx, Delivery{Alert: notify.Alert{Project: project, Recipient: id}})
		if err != nil {
			return err
		}
		return fn(ctx, tx, p, to)
	})
}

// TestRecipient sends a recipient a test alert: what an alert about tomorrow would
// say now. Asking again within the same minute sends nothing more.
func (s *Service) TestRecipient(ctx context.Context, account, project, recipient string) (d Delivery, err error) {
	err = s.Store.InAccount(ctx, account, func(ctx context.Context, tx Tx) error {
		to, err := recipientOf(ctx, tx, Delivery{Alert: notify.Alert{Project: project, Recipient: recipient}})
		if err != nil {
			return err
		}
		if to.State() != notify.Active {
			return fault.Of(fault.Conflict, NotAgreed)
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
