// Package watch owns what the service does: it refreshes a forecast, replans,
// records a log entry, and raises and delivers what is due. It declares the
// interfaces that the doors and adapters implement, and has no clock and no
// I/O of its own: both are handed in.
//
//	svc := &watch.Service{Store: store, Feeds: feeds, Now: time.Now}
//	entry, plan, changes, err := svc.Record(ctx, account, project, entry)
package watch
