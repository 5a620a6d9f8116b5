package config

import "dryslot/internal/logs"

// Key is one key of the environment, for people to read.
type Key struct {
	Name, Default, Meaning string
	Secret                 bool // its value is never shown
}

// key is a key with what reads it into a Config. What is at fault is noted in the
// reader.
type key struct {
	Key
	read func(Key)
}

// Keys returns every key, in the order of the documentation.
func Keys() []Key {
	var out []Key
	for _, k := range table(&reader{}, &Config{}) {
		out = append(out, k.Key)
	}
	return out
}

// shown is a key whose value may be shown.
func shown(name, def, meaning string, read func(Key)) key {
	return key{Key{Name: name, Default: def, Meaning: meaning}, read}
}

// masked is a key whose value is never shown.
func masked(name, def, meaning string, read func(Key)) key {
	return key{Key{Name: name, Default: def, Meaning: meaning, Secret: true}, read}
}

// into is what reads a key's value into a field.
func into[T any](field *T, read func(Key) T) func(Key) {
	return func(k Key) { *field = read(k) }
}

// table is every key, read by r into c. A default in words is worked out by Load,
// from other keys.
func table(r *reader, c *Config) []key {
	return []key{
		shown("DRYSLOT_LISTEN", "127.0.0.1:8080", "address of the HTTP server; port 0 picks a free one and prints it",
			into(&c.Listen, r.listen)),
		masked("DATABASE_URL", "", "PostgreSQL to use; none: a PostgreSQL of its own, started under DRYSLOT_DATA",
			into(&c.DatabaseURL, r.database)),
		masked("DATABASE_MIGRATE_URL", "DATABASE_URL", "the owner's connection, for migrations",
			into(&c.MigrateURL, r.database)),
		shown("DRYSLOT_DATA", ".data", "where the local PostgreSQL lives", into(&c.DataDir, r.or)),
		shown("DRYSLOT_WORKER", "inline without DATABASE_URL, else off", "run the worker inside the API process",
			into(&c.InlineWorker, r.worker)),
		masked("DRYSLOT_TOKEN", "", "at start, make sure an account with this token (32 characters or more) exists",
			into(&c.Token, r.token)),
		shown("DRYSLOT_SIGNUP", SignUpClosed, "who may make an account by mail: open, invite (to a project) or closed",
			into(&c.SignUp, r.oneOf(SignUpOpen, SignUpInvite, SignUpClosed))),
		shown("DRYSLOT_FEEDS", OpenMeteo, "feeds in order of preference: open-meteo, met-norway, nws, replay",
			into(&c.Feeds, r.feeds)),
		shown("OPENMETEO_URL", publicHost, "base address of the feed", into(&c.OpenMeteoURL, r.base)),
		shown("OPENMETEO_ENSEMBLE_URL", "the public host, none with OPENMETEO_URL", "base address of the ensemble",
			into(&c.OpenMeteoEnsembleURL, r.base)),
		shown("OPENMETEO_GEOCODING_URL", "", "base address of the search for places by name, such as "+
			"https://geocoding-api.open-meteo.com; none: a job's place is given by coordinates",
			into(&c.GeocodingURL, r.base)),
		masked("OPENMETEO_KEY", "", "key of a paid plan", into(&c.OpenMeteoKey, r.key)),
		shown("METNORWAY_URL", publicHost, "base address of the feed", into(&c.METNorwayURL, r.base)),
		shown("METNORWAY_NOWCAST_URL", publicHost, "base address of the nowcast", into(&c.METNorwayNowcastURL, r.base)),
		shown("NWS_URL", publicHost, "base address of the feed", into(&c.NWSURL, r.base)),
		shown("DRYSLOT_CONTACT", "",
			"contact put in the User-Agent of every feed request; met-norway and nws demand one",
			into(&c.Contact, r.contact)),
		shown("DRYSLOT_CLOCK", "", "start the service's clock at this RFC 3339 instant, for demonstrations and replays",
			into(&c.StartAt, r.instant)),
		shown("DRYSLOT_PUBLIC_URL", "from DRYSLOT_LISTEN",
			"address put in alerts, and that passkeys are made for: https with a domain name, or localhost",
			into(&c.PublicURL, r.public)),
		shown("DRYSLOT_CORS", "",
			"origins whose scripts may ask the API from a browser: https://host[:port], with commas between, "+
				"or * for all", into(&c.Origins, r.origins)),
		masked("SMTP_URL", "", "smtp://[user:password@]host:port (STARTTLS where offered) or smtps://",
			into(&c.SMTP, r.smtp)),
		shown("MAIL_FROM", "", "sender of mail, such as Dryslot <alerts@example.org>; demanded with SMTP_URL",
			into(&c.MailFrom, r.from)),
		masked("DRYSLOT_VAPID_KEY", "made and kept",
			"private key of web push (RFC 8292): 32 bytes of P-256 in base64url; "+
				"browsers' subscriptions are bound to it", into(&c.PushKey, r.pushKey)),
		shown("DRYSLOT_PROXIES", "", "networks (CIDR) of proxies in front of the service, whose X-Forwarded-For is "+
			"believed", into(&c.Proxies, r.networks)),
		shown("DRYSLOT_PRIVATE_WEBHOOKS", "", "networks (CIDR) to which webhooks may go although they are private or "+
			"loopback", into(&c.PrivateWebhooks, r.networks)),
		shown("DRYSLOT_REQUESTS_A_MINUTE", "600",
			"requests that one account may make in a minute, and one address four times "+
				"as many; 0: no limit. Behind a proxy DRYSLOT_PROXIES must name it", into(&c.RequestsAMinute, r.count)),
		shown("DRYSLOT_MOST_PROJECTS", "100", "projects that one account may have; 0: no limit",
			into(&c.MostProjects, r.count)),
		shown("DRYSLOT_MOST_PADS", "0", "pads that one project may have; 0: no limit but that of every project",
			into(&c.MostPads, r.count)),
		shown("DRYSLOT_MOST_PHOTOS", "300",
			"photos that the log of one project may have, each of some 400 kB; 0: no limit",
			into(&c.MostPhotos, r.count)),
		shown("DRYSLOT_MOST_RECIPIENTS", "50", "recipients of alerts that one project may have; 0: no limit",
			into(&c.MostRecipients, r.count)),
		shown("DRYSLOT_OPS_LISTEN", "", "address (host:port) of a listener for /healthz, /readyz and /metrics alone; "+
			"none: the API answers them at DRYSLOT_LISTEN, a worker nowhere", into(&c.Probes, r.listen)),
		shown("DRYSLOT_DRAIN", "0s", "how long /readyz answers 503 at a stop while requests are still taken, up to "+
			"5m: as long as the load balancer needs to notice", into(&c.Drain, r.drain)),
		shown("OTEL_EXPORTER_OTLP_ENDPOINT", "", "base address of an OpenTelemetry collector (OTLP over HTTP) for "+
			"traces of requests, jobs, statements and feeds; none: no traces. "+
			"OTEL_EXPORTER_OTLP_HEADERS and the like are taken too", into(&c.Collector, r.base)),
		shown("OTEL_TRACES_SAMPLER_ARG", "1", "share of requests and jobs that are traced, from 0 to 1",
			into(&c.TracedShare, r.share)),
		shown("DRYSLOT_LOG", logs.Text, "form of the log: text or json",
			into(&c.LogForm, r.oneOf(logs.Text, logs.JSON))),
		shown("DRYSLOT_LOG_LEVEL", "info", "least level that is logged: debug, info, warn or error",
			into(&c.LogLevel, r.level)),
	}
}

// publicHost is the default of a feed's address.
const publicHost = "the public host"

// Who may make an account.
const (
	SignUpOpen   = "open"
	SignUpInvite = "invite"
	SignUpClosed = "closed"
)
