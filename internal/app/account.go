package app

import (
	"context"
	"fmt"
	"io"
	"log/slog"

	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/postgres"
)

// AccountUsage is what Accounts takes.
const AccountUsage = `api account show ACCOUNT               what is kept of an account
api account delete ACCOUNT             the same: what would be deleted
api account delete ACCOUNT everything  delete the account with all of it, for good`

// Accounts shows or deletes an account as args say. Arguments that say nothing
// of the kind are fault.Invalid.
func Accounts(ctx context.Context, cfg config.Config, args []string, out io.Writer, log *slog.Logger) error {
	deletes := len(args) == 3 && args[0] == "delete" && args[2] == "everything"
	shows := len(args) == 2 && (args[0] == "show" || args[0] == "delete")
	if !deletes && !shows {
		return fault.New(fault.Invalid, "usage:\n"+AccountUsage)
	}
	return withTokens(ctx, cfg, log, func(tokens *postgres.Tokens) error {
		account, verb, do := args[1], "holds", tokens.Holdings
		if deletes {
			verb, do = "is deleted, with", tokens.DeleteAccount
		}
		h, err := do(ctx, account)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(out, "Account %s %s: %d projects (log entries %d, photos %d, plans %d, recipients %d, "+
			"alerts %d, "+
			"members %d), %d tokens, %d sessions, a part in %d projects of others.\n", account, verb, h.Projects,
			h.Entries, h.Photos, h.Plans, h.Recipients, h.Alerts, h.Members, h.Tokens, h.Sessions, h.MemberOf)
		if err == nil && deletes {
			_, err = fmt.Fprintln(out, "Backups that were made before still hold it.")
		} else if err == nil && args[0] == "delete" {
			_, err = fmt.Fprintf(out, "Nothing is deleted yet. This deletes all of it, for good:\n"+
				"  api account delete %s everything\n", account)
		}
		return err
	})
}
