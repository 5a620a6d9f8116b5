package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// grants is all that the service's role may do. Nothing lets it alter a plan,
// a log entry or a forecast; those of a project go with the project, by the
// tables' own foreign keys.
var grants = [...]string{
	"select on goose_db_version, river_migration",
	"select, insert on accounts",
	"select, insert on tokens",
	"update (revoked_at) on tokens",
	"select, insert on token_names, session_browsers",
	"execute on function delete_account(uuid)",
	"select, insert, delete on sign_in_links, archive_links",
	"select, insert, update, delete on sign_in_failures",
	"select, insert, update, delete on account_mails, mail_keys",
	"select, insert, delete on mail_links, mail_orders",
	"select, insert, update, delete on members",
	"select, insert, delete on invitations",
	"select, insert on invitation_keys",
	"select, insert, delete on sessions, passkeys",
	"update (name, sign_count, backed_up, used_at) on passkeys",
	"select, insert, delete on passkey_challenges",
	"select, insert, delete on projects",
	"update (revision, spec, calendar_key) on projects",
	"select, insert on log_entries",
	"select, insert, delete on photos",
	"select, insert on plans",
	"execute on function thin_plans(uuid, timestamptz)",
	"select, insert on plan_mornings",
	"update (version, forecast, mornings) on plan_mornings",
	"select, insert, update on day_steps",
	"select, insert, update on alert_events",
	"select, insert on service_keys",
	"select, insert, update, delete on short_ranges",
	"select, insert, delete on recipients",
	"update (alerts, confirmed_at, stopped_at) on recipients",
	"select, insert on recipient_keys",
	"select, insert on deliveries",
	"update (state, tries, reason, reason_data, next_try_at, settled_at) on deliveries",
	"select, insert, update, delete on answers",
	"select, insert, update, delete on ready_answers",
	"select, insert, delete on calendar_keys",
	"select, insert, update on due_projects",
	"select, insert, update, delete on due_accounts",
	"select, insert, update, delete on due_deliveries",
	"select, insert, update, delete on plan_queue",
	"select, insert, update, delete on cells",
	"select, insert, update on feed_states",
	"select, insert, delete on forecasts",
	"usage on sequence forecast_ids",
	"select, insert, delete on stated_chances",
	"select, insert, update on verifications",
	"select, insert, update, delete on logged_rain",
	"select, insert, delete on seen_rain",
	// River works its own tables as a non-owner.
	"select, insert, update, delete on river_job, river_leader, river_queue, river_notification",
	"usage, select on sequence river_job_id_seq, river_notification_id_seq",
}

// letRead lets the role read every table that the owner makes from now on, until
// grant says what it may do. Policies read tables that the same migration makes:
// the version before would fail from then until grant.
func letRead(ctx context.Context, pool *pgxpool.Pool, role string) error {
	return granting(ctx, pool, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, "alter default privileges grant select on tables to "+pgx.Identifier{role}.Sanitize())
		return err
	})
}

// granting runs fn in a transaction of its own, one at a time: two that start at
// the same time would write the same catalogue rows. The other may take longer
// than a migration waits for a table.
func granting(ctx context.Context, pool *pgxpool.Pool, fn func(tx pgx.Tx) error) error {
	return wrap("granting the service's rights", patiently(ctx, func() error {
		return pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, `select pg_advisory_xact_lock(hashtext('dryslot grants'))`); err != nil {
				return err
			}
			return fn(tx)
		})
	}))
}

// grant gives the role exactly these rights on the owner's tables: what it had
// before is taken first.
func grant(ctx context.Context, pool *pgxpool.Pool, role string) error {
	return granting(ctx, pool, func(tx pgx.Tx) error {
		var schema string
		if err := tx.QueryRow(ctx, `select current_schema()`).Scan(&schema); err != nil {
			return err
		}
		quotedRole, quotedSchema := pgx.Identifier{role}.Sanitize(), pgx.Identifier{schema}.Sanitize()
		tables, err := texts(ctx, tx, `select relname::text from pg_class
			where relnamespace = current_schema()::regnamespace and relkind in ('r', 'p')
			and relowner = current_user::regrole`)
		if err != nil {
			return err
		}
		batch := &pgx.Batch{}
		batch.Queue("alter default privileges revoke select on tables from " + quotedRole)
		for _, table := range tables {
			batch.Queue("revoke all on " + pgx.Identifier{table}.Sanitize() + " from " + quotedRole)
		}
		batch.Queue("grant usage on schema " + quotedSchema + " to " + quotedRole)
		for _, g := range grants {
			batch.Queue("grant " + g + " to " + quotedRole)
		}
		if err := tx.SendBatch(ctx, batch).Close(); err != nil {
			return err
		}
		return allowBackup(ctx, tx)
	})
}
