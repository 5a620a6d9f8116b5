// Package alerts owns who is alerted of a project and what they were told: it
// keeps recipients, raises the alerts that a plan makes due, once each, and
// delivers them. What is due when is internal/notify's to say; what was told of
// a date is columns, never read back from a text that was sent.
//
//	svc := &alerts.Service{Store: store.Alerts(), Projects: projects, Channels: channels, Now: time.Now}
//	next, err := svc.Raise(ctx, situation)
//	err = svc.Deliver(ctx, account, key)
package alerts
