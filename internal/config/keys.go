package config

import "dryslot/internal/logs"

// Key is one key of the environment, for people to read.
type Key struct {
	Name, Default, Meaning string
	Secret                 bool // its value is never shown
}

// key is a key with what reads it. What is at fault is noted in the reader.
type key struct {
	Key
	read func(r *reader, c *Config, k Key)
}

// Keys returns every key, in the order of the documentation.
func Keys() []Key {
	var out []Key
	for _, k := range table() {
		out = append(out, k.Key)
	}
	return out
}

// open is a key whose value may be shown.
func open(name, def, meaning string, read func(r *reader, c *Config, k Key)) key {
	return key{Key{Name: name, Default: def, Meaning: meaning}, read}
}

// closed is a key whose value is never shown.
func closed(name, def, meaning string, read func(r *reader, c *Config, k Key)) key {
	return key{Key{Name: name, Default: def, Meaning: meaning, Secret: true}, read}
}

// table is every key. A default in words is worked out by Load, from other keys.
func table() []key {
	return []key{
		open("DRYSLOT_LISTEN", "127.0.0.1:8080", "address of the HTTP server; port 0 picks a free one and prints it",
			func(r *reader, c *Config, k Key) { c.Listen = r.listen(k) }),
		closed("DATABASE_URL", "", "PostgreSQL to use; none: a PostgreSQL of its own, started under DRYSLOT_DATA",
			func(r *reader, c *Config, k Key) { c.DatabaseURL = r.database(k) }),
		closed("DATABASE_MIGRATE_URL", "DATABASE_URL", "the owner's connection, for migrations",
			func(r *reader, c *Config, k Key) { c.MigrateURL = r.database(k) }),
		open("DRYSLOT_DATA", ".data", "where the local PostgreSQL lives",
			func(r *reader, c *Config, k Key) { c.DataDir = r.or(k) }),
		open("DRYSLOT_WORKER", "inline without DATABASE_URL, else off", "run the worker inside the API process",
			func(r *reader, c *Config, k Key) { c.InlineWorker = r.worker(k) }),
		closed("DRYSLOT_TOKEN", "", "at start, make sure an account with this token (32 characters or more) exists",
			func(r *reader, c *Config, k Key) { c.Token = r.token(k) }),
		open("DRYSLOT_SIGNUP", SignUpClosed, "who may make an account by mail: open, invite (to a project) or closed",
			func(r *reader, c *Config, k Key) { c.SignUp = r.oneOf(k, SignUpOpen, SignUpInvite, SignUpClosed) }),
		open("DRYSLOT_FEEDS", OpenMeteo, "feeds in order of preference: open-meteo, met-norway, nws, replay",
			func(r *reader, c *Config, k Key) { c.Feeds = r.feeds(k) }),
		open("OPENMETEO_URL", publicHost, "base address of the feed",
			func(r *reader, c *Config, k Key) { c.OpenMeteoURL = r.base(k) }),
		open("OPENMETEO_ENSEMBLE_URL", "the public host, none with OPENMETEO_URL", "base address of the ensemble",
			func(r *reader, c *Config, k Key) { c.OpenMeteoEnsembleURL = r.base(k) }),
		open("OPENMETEO_GEOCODING_URL", "", "base address of the search for places by name, such as "+
			"https://geocoding-api.open-meteo.com; none: a job's place is given by coordinates",
			func(r *reader, c *Config, k Key) { c.GeocodingURL = r.base(k) }),
		closed("OPENMETEO_KEY", "", "key of a paid plan",
			func(r *reader, c *Config, k Key) { c.OpenMeteoKey = r.key(k) }),
		open("METNORWAY_URL", publicHost, "base address of the feed",
			func(r *reader, c *Config, k Key) { c.METNorwayURL = r.base(k) }),
		open("METNORWAY_NOWCAST_URL", publicHost, "base address of the nowcast",
			func(r *reader, c *Config, k Key) { c.METNorwayNowcastURL = r.base(k) }),
		open("NWS_URL", publicHost, "base address of the feed",
			func(r *reader, c *Config, k Key) { c.NWSURL = r.base(k) }),
		open("DRYSLOT_CONTACT", "",
			"contact put in the User-Agent of every feed request; met-norway and nws demand one",
			func(r *reader, c *Config, k Key) { c.Contact = r.contact(k) }),
		open("DRYSLOT_CLOCK", "", "start the service's clock at this RFC 3339 instant, for demonstrations and replays",
			func(r *reader, c *Config, k Key) { c.StartAt = r.instant(k) }),
		open("DRYSLOT_PUBLIC_URL", "from DRYSLOT_LISTEN",
			"address put in alerts, and that passkeys are made for: https with a domain name, or localhost",
			func(r *reader, c *Config, k Key) { c.PublicURL = r.public(k) }),
		open("DRYSLOT_CORS", "",
			"origins whose scripts may ask the API from a browser: https://host[:port], with commas between, "+
				"or * for all",
			func(r *reader, c *Config, k Key) { c.Origins = r.origins(k) }),
		closed("SMTP_URL", "", "smtp://[user:password@]host:port (STARTTLS where offered) or smtps://",
			func(r *reader, c *Config, k Key) { c.SMTP = r.smtp(k) }),
		open("MAIL_FROM", "", "sender of mail, such as Dryslot <alerts@example.org>; demanded with SMTP_URL",
			func(r *reader, c *Config, k Key) { c.MailFrom = r.from(k) }),
		closed("DRYSLOT_VAPID_KEY", "made and kept",
			"private key of web push (RFC 8292): 32 bytes of P-256 in base64url; "+
				"browsers' subscriptions are bound to it",
			func(r *reader, c *Config, k Key) { c.PushKey = r.pushKey(k) }),
		open("DRYSLOT_PROXIES", "", "networks (CIDR) of proxies in front of the service, whose X-Forwarded-For is "+
			"believed", func(r *reader, c *Config, k Key) { c.Proxies = r.networks(k) }),
		open("DRYSLOT_PRIVATE_WEBHOOKS", "", "networks (CIDR) to which webhooks may go although they are private or "+
			"loopback", func(r *reader, c *Config, k Key) { c.PrivateWebhooks = r.networks(k) }),
		open("DRYSLOT_REQUESTS_A_MINUTE", "600",
			"requests that one account may make in a minute, and one address four times "+
				"as many; 0: no limit. Behind a proxy DRYSLOT_PROXIES must name it",
			func(r *reader, c *Config, k Key) { c.RequestsAMinute = r.count(k) }),
		open("DRYSLOT_MOST_PROJECTS", "100", "projects that one account may have; 0: no limit",
			func(r *reader, c *Config, k Key) { c.MostProjects = r.count(k) }),
		open("DRYSLOT_MOST_PADS", "0", "pads that one project may have; 0: no limit but that of every project",
			func(r *reader, c *Config, k Key) { c.MostPads = r.count(k) }),
		open("DRYSLOT_MOST_PHOTOS", "300",
			"photos that the log of one project may have, each of some 400 kB; 0: no limit",
			func(r *reader, c *Config, k Key) { c.MostPhotos = r.count(k) }),
		open("DRYSLOT_MOST_RECIPIENTS", "50", "recipients of alerts that one project may have; 0: no limit",
			func(r *reader, c *Config, k Key) { c.MostRecipients = r.count(k) }),
		open("DRYSLOT_OPS_LISTEN", "", "address (host:port) of a listener for /healthz, /readyz and /metrics alone; "+
			"none: the API answers them at DRYSLOT_LISTEN, a worker nowhere",
			func(r *reader, c *Config, k Key) { c.Probes = r.listen(k) }),
		open("DRYSLOT_DRAIN", "0s", "how long /readyz answers 503 at a stop while requests are still taken, up to 5m: "+
			"as long as the load balancer needs to notice",
			func(r *reader, c *Config, k Key) { c.Drain = r.drain(k) }),
		open("OTEL_EXPORTER_OTLP_ENDPOINT", "", "base address of an OpenTelemetry collector (OTLP over HTTP) for "+
			"traces of requests, jobs, statements and feeds; none: no traces. "+
			"OTEL_EXPORTER_OTLP_HEADERS and the like are taken too",
			func(r *reader, c *Config, k Key) { c.Collector = r.base(k) }),
		open("OTEL_TRACES_SAMPLER_ARG", "1", "share of requests and jobs that are traced, from 0 to 1",
			func(r *reader, c *Config, k Key) { c.TracedShare = r.share(k) }),
		open("DRYSLOT_LOG", logs.Text, "form of the log: text or json",
			func(r *reader, c *Config, k Key) { c.LogForm = r.oneOf(k, logs.Text, logs.JSON) }),
		open("DRYSLOT_LOG_LEVEL", "info", "least level that is logged: debug, info, warn or error",
			func(r *reader, c *Config, k Key) { c.LogLevel = r.level(k) }),
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
