package accounts

import (
	"context"

	"dryslot/internal/fault"
)

// Holdings counts what is kept of an account.
func (s *Service) Holdings(ctx context.Context, account string) (Holdings, error) {
	return s.Store.Holdings(ctx, account)
}

// Delete deletes an account with everything that is kept of it, for good. Confirm
// has to be the account's short name, which a person reads off and types, or its
// id: else the error is fault.Invalid, and nothing is deleted.
func (s *Service) Delete(ctx context.Context, account, confirm string) error {
	if confirm != Short(account) && confirm != account {
		return fault.Of(fault.Invalid, NotConfirmed).At("confirm", confirm, fault.RuleOf(AccountNameWanted))
	}
	return s.Store.DeleteAccount(ctx, account)
}

// NewArchiveLink makes a link to an account's archive: it gives it out once,
// within LinkLife, to whoever has the link.
func (s *Service) NewArchiveLink(ctx context.Context, account string) (key string, err error) {
	return s.Store.CreateArchiveLink(ctx, account, s.Wall().Add(LinkLife))
}

// AccountByArchiveLink returns whose archive a link gives out and does not use it.
// One that was used, has expired or never was is fault.Forbidden.
func (s *Service) AccountByArchiveLink(ctx context.Context, key string) (account string, err error) {
	return s.Store.AccountByArchiveLink(ctx, key, s.Wall())
}

// UseArchiveLink uses a link up and returns whose archive it gives out. One that
// was used, has expired or never was is fault.Forbidden.
func (s *Service) UseArchiveLink(ctx context.Context, key string) (account string, err error) {
	return s.Store.UseArchiveLink(ctx, key, s.Wall())
}
