// Package alerts owns who is alerted of a project and what was sent to them: it
// keeps recipients, raises the alerts that a plan makes due, once each, and
// delivers them. internal/notify decides what is due when; what was said of a
// date is kept as columns, never read back from a text that was sent.
//
//	svc := &alerts.Service{Store: store.Alerts(), Projects: projects, Channels: channels, Now: time.Now}
//	next, err := svc.Raise(ctx, situation)
//	err = svc.Deliver(ctx, account, key)
package alerts
