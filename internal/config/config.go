// Package config owns the environment: every key once, with its default, its
// meaning and its check. All mistakes are reported together, and secrets are
// hidden when a configuration is printed.
//
//	cfg, err := config.Load(os.Getenv)
package config

import (
	"log/slog"
	"net/mail"
	"net/netip"
	"net/url"
	"strings"
	"time"
)

// Secret is a value that is never printed; Reveal returns it.
type Secret string

const hidden = "(hidden)"

// Reveal returns the secret itself.
func (s Secret) Reveal() string { return string(s) }

// String hides a secret that is set.
func (s Secret) String() string {
	if s == "" {
		return ""
	}
	return hidden
}

// GoString hides the secret from %#v.
func (s Secret) GoString() string { return s.String() }

// LogValue hides the secret from structured logs.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.String()) }

// MarshalText hides the secret from JSON and its like.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// The feeds that can be named.
const (
	OpenMeteo = "open-meteo"
	METNorway = "met-norway"
	NWS       = "nws"
	Replay    = "replay"
)

// Config is what the environment says. Zero values mean what their comments say.
type Config struct {
	Listen               string         // DRYSLOT_LISTEN: host:port of the HTTP server; port 0: any free one
	DatabaseURL          Secret         // DATABASE_URL: empty: a PostgreSQL of the service's own under DataDir
	MigrateURL           Secret         // DATABASE_MIGRATE_URL: the owner's connection; as DatabaseURL when not given
	DataDir              string         // DRYSLOT_DATA: where the local PostgreSQL lives
	InlineWorker         bool           // DRYSLOT_WORKER: cmd/api runs the worker inside itself
	Token                Secret         // DRYSLOT_TOKEN: make sure at start that an account with it exists; empty: no such account
	Feeds                []string       // DRYSLOT_FEEDS: in order of preference, one at least
	OpenMeteoURL         string         // OPENMETEO_URL: base address; empty: the provider's public host
	OpenMeteoEnsembleURL string         // OPENMETEO_ENSEMBLE_URL: the same, of the ensemble
	GeocodingURL         string         // OPENMETEO_GEOCODING_URL: base address; empty: places are not looked up by name
	OpenMeteoKey         Secret         // OPENMETEO_KEY: of a paid plan; empty: none
	METNorwayURL         string         // METNORWAY_URL: base address; empty: the provider's public host
	METNorwayNowcastURL  string         // METNORWAY_NOWCAST_URL: the same, of the nowcast
	NWSURL               string         // NWS_URL: base address; empty: the provider's public host
	Contact              string         // DRYSLOT_CONTACT: put in the User-Agent of every feed request; empty: none
	StartAt              time.Time      // DRYSLOT_CLOCK: the instant that the service's clock starts at; zero: the true time
	PublicURL            *url.URL       // DRYSLOT_PUBLIC_URL: address put in alerts; nil: made from the address listened on
	Origins              []string       // DRYSLOT_CORS: origins whose scripts may ask the API, or "*" alone; none: no other origin
	SMTP                 *SMTP          // SMTP_URL: nil: no email
	MailFrom             *mail.Address  // MAIL_FROM: sender of alerts; nil only when SMTP is
	Proxies              []netip.Prefix // DRYSLOT_PROXIES: networks of proxies in front, whose X-Forwarded-For is believed
	PrivateWebhooks      []netip.Prefix // DRYSLOT_PRIVATE_WEBHOOKS: private or loopback networks that webhooks may go to
}

// SMTP is a mail server. STARTTLS is used where it is offered.
type SMTP struct {
	Host     string
	Port     int
	TLS      bool   // from the first byte on (smtps)
	User     string // empty: no sign-in
	Password Secret
}

// Key is one key of the environment, for people to read.
type Key struct{ Name, Default, Meaning string }

// Keys returns every key, in the order of the documentation.
func Keys() []Key {
	return []Key{
		{"DRYSLOT_LISTEN", "127.0.0.1:8080", "address of the HTTP server; port 0 picks a free one and prints it"},
		{"DATABASE_URL", "", "PostgreSQL to use; none: a PostgreSQL of its own, started under DRYSLOT_DATA"},
		{"DATABASE_MIGRATE_URL", "DATABASE_URL", "the owner's connection, for migrations"},
		{"DRYSLOT_DATA", ".data", "where the local PostgreSQL lives"},
		{"DRYSLOT_WORKER", "inline without DATABASE_URL, else off", "run the worker inside the API process"},
		{"DRYSLOT_TOKEN", "", "at start, make sure an account with this token (32 characters or more) exists"},
		{"DRYSLOT_FEEDS", OpenMeteo, "feeds in order of preference: open-meteo, met-norway, nws, replay"},
		{"OPENMETEO_URL", "the public host", "base address of the feed"},
		{"OPENMETEO_ENSEMBLE_URL", "the public host, none with OPENMETEO_URL", "base address of the ensemble"},
		{"OPENMETEO_GEOCODING_URL", "", "base address of the search for places by name, such as https://geocoding-api.open-meteo.com; none: a job's place is given by coordinates"},
		{"OPENMETEO_KEY", "", "key of a paid plan"},
		{"METNORWAY_URL", "the public host", "base address of the feed"},
		{"METNORWAY_NOWCAST_URL", "the public host", "base address of the nowcast"},
		{"NWS_URL", "the public host", "base address of the feed"},
		{"DRYSLOT_CONTACT", "", "contact put in the User-Agent of every feed request; met-norway and nws demand one"},
		{"DRYSLOT_CLOCK", "", "start the service's clock at this RFC 3339 instant, for demonstrations and replays"},
		{"DRYSLOT_PUBLIC_URL", "from DRYSLOT_LISTEN", "address put in alerts"},
		{"DRYSLOT_CORS", "", "origins whose scripts may ask the API from a browser: https://host[:port], with commas between, or * for all"},
		{"SMTP_URL", "", "smtp://[user:password@]host:port (STARTTLS where offered) or smtps://"},
		{"MAIL_FROM", "", "sender of alerts by email; demanded with SMTP_URL"},
		{"DRYSLOT_PROXIES", "", "networks (CIDR) of proxies in front of the service, whose X-Forwarded-For is believed"},
		{"DRYSLOT_PRIVATE_WEBHOOKS", "", "networks (CIDR) to which webhooks may go although they are private or loopback"},
	}
}

// String lists the keys with their values, one a line, secrets hidden.
func (c Config) String() string {
	var b strings.Builder
	line := func(key, value string) {
		if value != "" {
			b.WriteString(key + "=" + value + "\n")
		}
	}
	line("DRYSLOT_LISTEN", c.Listen)
	line("DATABASE_URL", c.DatabaseURL.String())
	line("DATABASE_MIGRATE_URL", c.MigrateURL.String())
	line("DRYSLOT_DATA", c.DataDir)
	line("DRYSLOT_WORKER", map[bool]string{true: "inline", false: "off"}[c.InlineWorker])
	line("DRYSLOT_TOKEN", c.Token.String())
	line("DRYSLOT_FEEDS", strings.Join(c.Feeds, ","))
	line("OPENMETEO_URL", c.OpenMeteoURL)
	line("OPENMETEO_ENSEMBLE_URL", c.OpenMeteoEnsembleURL)
	line("OPENMETEO_GEOCODING_URL", c.GeocodingURL)
	line("OPENMETEO_KEY", c.OpenMeteoKey.String())
	line("METNORWAY_URL", c.METNorwayURL)
	line("METNORWAY_NOWCAST_URL", c.METNorwayNowcastURL)
	line("NWS_URL", c.NWSURL)
	line("DRYSLOT_CONTACT", c.Contact)
	if !c.StartAt.IsZero() {
		line("DRYSLOT_CLOCK", c.StartAt.Format(time.RFC3339Nano))
	}
	if c.PublicURL != nil {
		line("DRYSLOT_PUBLIC_URL", c.PublicURL.String())
	}
	line("DRYSLOT_CORS", strings.Join(c.Origins, ","))
	if c.SMTP != nil {
		line("SMTP_URL", c.SMTP.String())
	}
	if c.MailFrom != nil {
		line("MAIL_FROM", c.MailFrom.String())
	}
	line("DRYSLOT_PROXIES", joined(c.Proxies))
	line("DRYSLOT_PRIVATE_WEBHOOKS", joined(c.PrivateWebhooks))
	return b.String()
}

func joined(networks []netip.Prefix) string {
	out := make([]string, len(networks))
	for i, p := range networks {
		out[i] = p.String()
	}
	return strings.Join(out, ",")
}

// GoString hides what String hides.
func (c Config) GoString() string { return c.String() }
