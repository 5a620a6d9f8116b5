package watch

import (
	"log/slog"
	"time"
)

// Service does what the service does. Its fields are set once, before use.
type Service struct {
	Store    Store
	Feeds    []Feed             // in order of preference
	Channels map[string]Channel // by kind
	Now      func() time.Time   // the service's clock
	Log      *slog.Logger
	BaseURL  string // of the pages, put in alerts
}
