// Package config owns the environment: every key once, in one table, with its
// default, its meaning and its check. All mistakes are reported together, and
// secrets are never printed.
//
//	cfg, err := config.Load(os.Getenv)
package config

import (
	"log/slog"
	"net/mail"
	"net/netip"
	"net/url"
	"time"
)

// Secret is a value that shows in no print, log or JSON: only Reveal returns it.
type Secret struct{ text *string } // nil: not set

const hidden = "(hidden)"

func secret(v string) Secret {
	if v == "" {
		return Secret{}
	}
	return Secret{&v}
}

// IsSet reports whether there is a secret.
func (s Secret) IsSet() bool { return s.text != nil }

// Reveal returns the secret itself; empty: none is set.
func (s Secret) Reveal() string {
	if s.text == nil {
		return ""
	}
	return *s.text
}

// The feeds that can be named.
const (
	OpenMeteo = "open-meteo"
	METNorway = "met-norway"
	NWS       = "nws"
	Replay    = "replay"
)

// Config is what the environment says. Zero values mean what their comments say.
type Config struct {
	Listen               string         // host:port of the HTTP server; port 0: any free one
	DatabaseURL          Secret         // not set: a PostgreSQL of the service's own under DataDir
	MigrateURL           Secret         // the owner's connection; as DatabaseURL when not given
	DataDir              string         // where the local PostgreSQL lives
	InlineWorker         bool           // cmd/api runs the worker inside itself
	Token                Secret         // make sure at start that an account with it exists; not set: no such account
	SignUp               string         // who may make an account: open, invite or closed
	Feeds                []string       // in order of preference, one at least
	OpenMeteoURL         string         // base address; empty: the provider's public host
	OpenMeteoEnsembleURL string         // the same, of the ensemble
	GeocodingURL         string         // base address; empty: places are not looked up by name
	OpenMeteoKey         Secret         // of a paid plan
	METNorwayURL         string         // base address; empty: the provider's public host
	METNorwayNowcastURL  string         // the same, of the nowcast
	NWSURL               string         // base address; empty: the provider's public host
	Contact              string         // put in the User-Agent of every feed request; empty: none
	StartAt              time.Time      // the instant that the service's clock starts at; zero: the true time
	PublicURL            *url.URL       // address put in alerts; nil: made from the address listened on
	Origins              []string       // whose scripts may ask the API, or "*" alone; none: no other origin
	SMTP                 *SMTP          // nil: no email
	MailFrom             *mail.Address  // sender of alerts; nil only when SMTP is
	PushKey              Secret         // private, of web push; empty: one is made and kept
	Proxies              []netip.Prefix // networks of proxies in front, whose X-Forwarded-For is believed
	PrivateWebhooks      []netip.Prefix // private or loopback networks that webhooks may go to
	RequestsAMinute      int            // of one account; 0: as many as it likes
	MostProjects         int            // of one account; 0: as many as it likes
	MostPads             int            // of one project; 0: as many as a project can have
	MostPhotos           int            // of one project; 0: as many as it likes
	MostRecipients       int            // of one project; 0: as many as it likes
	// host:port of probes and metrics; empty: the API's own address, and none of a worker
	Probes string
	// Collector takes spans, by OTLP; empty: none are made. TracedShare is the share of
	// requests and jobs that are traced, from 0 to 1.
	Collector   string
	TracedShare float64
	Drain       time.Duration // how long it is not ready, yet serves, before it stops listening
	LogForm     string        // text or json
	LogLevel    slog.Level    // from which on lines are logged
}

// SMTP is a mail server. STARTTLS is used where it is offered.
type SMTP struct {
	Host     string
	Port     int
	TLS      bool   // from the first byte on (smtps)
	User     string // empty: no sign-in
	Password Secret
}
