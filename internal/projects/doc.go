// Package projects owns projects: their specs, their logs and what these come
// to, and their plans: made anew when the weather or the log changes, in fair
// turns between accounts, or tried with a change. It has no clock and no I/O of
// its own: both are handed in.
//
//	svc := &projects.Service{Store: store.Projects(), Alerts: alerts, Plan: planner.Make, Now: time.Now}
//	recorded, err := svc.Record(ctx, account, project, entry)
package projects
