// Package postgres owns every store: it implements watch's Store, Tx and
// SystemTx over PostgreSQL, adds work to River's queue in the transaction that
// caused it, and brings the database's shape up to date.
//
//	err := postgres.Migrate(ctx, ownerURL, serviceRole)
//	store, err := postgres.Open(ctx, serviceURL)
//	err = store.InAccount(ctx, account, func(ctx context.Context, tx projects.Tx) error { ... })
//
// # Who sees what
//
// Every query names its account. Behind it stands row-level security, enabled
// and forced: a transaction sets dryslot.account for itself alone, and a query
// that forgot its account would see nothing. The service's role owns no table,
// so that it can't lift the rule, and may not alter plans, log entries or
// forecasts at all. Tables without row-level security (tokens, sessions,
// calendar_keys, recipient_keys, due_projects, due_deliveries) hold digests, ids and times;
// cells, feed_states and forecasts hold public weather.
//
// # Leases
//
//	cell      due --DueCells--> held --LeaseCell--> leased --KeepForecast, FetchFailed or PostponeFetch--> due later
//	project   due --DueProjects--> held --SetDue--> due later
//	delivery  due --DueDeliveries--> held --LeaseAlert--> leased --SettleAlert--> sent, failed or due later
//
// A worker that dies leaves its lease to run out; then the row is due again.
// A hold only keeps the same work from being asked for twice; the lease is
// what makes one try at a time.
package postgres
