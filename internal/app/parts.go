package app

import (
	"context"
	"log/slog"
	"time"

	"dryslot/internal/alerts"
	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/forecast/metnorway"
	"dryslot/internal/forecast/nws"
	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/forecast/replay"
	"dryslot/internal/notify/email"
	"dryslot/internal/notify/push"
	"dryslot/internal/notify/webhook"
	"dryslot/internal/web/pages"
)

// feeds makes the feeds that the configuration names, in its order.
func feeds(cfg config.Config, log *slog.Logger) ([]fetching.Feed, error) {
	var out []fetching.Feed
	for _, name := range cfg.Feeds {
		f, err := feed(name, cfg, log)
		if err != nil {
			return nil, err
		}
		if n, ok := f.(interface{ Notice() string }); ok && n.Notice() != "" {
			log.Warn(n.Notice())
		}
		out = append(out, f)
	}
	return out, nil
}

// oneAtATime is how long an answer of Open-Meteo is waited for. It bears one
// request at a time from an address, so that one that hangs holds up every
// cell; answers take well under a second (judgement).
const oneAtATime = 5 * time.Second

func feed(name string, cfg config.Config, log *slog.Logger) (fetching.Feed, error) {
	switch name {
	case config.OpenMeteo:
		return openmeteo.New(openmeteo.Config{BaseURL: cfg.OpenMeteoURL, EnsembleURL: cfg.OpenMeteoEnsembleURL,
			Key: cfg.OpenMeteoKey.Reveal(), Contact: cfg.Contact, Timeout: oneAtATime, Log: log})
	case config.METNorway:
		return metnorway.New(metnorway.Config{BaseURL: cfg.METNorwayURL, NowcastURL: cfg.METNorwayNowcastURL,
			Contact: cfg.Contact, Log: log})
	case config.NWS:
		return nws.New(nws.Config{BaseURL: cfg.NWSURL, Contact: cfg.Contact, Log: log})
	case config.Replay:
		return replay.Feed{}, nil
	}
	var bad fault.List
	bad.Add("DRYSLOT_FEEDS", name, "must be open-meteo, met-norway, nws or replay")
	return nil, bad.Err("no such feed")
}

// places makes the search for places by name; nil where none is configured.
func places(cfg config.Config, now func() time.Time) (pages.Places, error) {
	if cfg.GeocodingURL == "" {
		return nil, nil
	}
	return openmeteo.NewGeocoder(openmeteo.GeocoderConfig{BaseURL: cfg.GeocodingURL, Key: cfg.OpenMeteoKey.Reveal(),
		Contact: cfg.Contact, Timeout: oneAtATime}, now)
}

// pushes makes the channel of web push, with the key that is configured, else one
// that is made once and kept: browsers' subscriptions are bound to it.
func (in *instance) pushes(baseURL string) (*push.Channel, error) {
	ctx, cancel := context.WithTimeout(context.Background(), keyWait)
	defer cancel()
	key, err := in.cfg.PushKey.Reveal(), error(nil)
	if key == "" {
		key, err = in.store.KeptKey(ctx, "web push", push.NewKey)
	}
	if err != nil {
		return nil, err
	}
	return push.New(push.Options{Key: key, Subject: baseURL, Private: in.cfg.PrivateWebhooks})
}

// keyWait is how long the database is waited for at start.
const keyWait = 10 * time.Second

// channels makes the channels that alerts can take; mail is nil where none is
// set up.
func channels(cfg config.Config) (out map[string]alerts.Channel, mail *email.Channel, err error) {
	hooks := webhook.New(webhook.Options{Private: cfg.PrivateWebhooks})
	out = map[string]alerts.Channel{hooks.Kind(): hooks}
	if s := cfg.SMTP; s != nil {
		server := email.Server{Host: s.Host, Port: s.Port, TLS: s.TLS, User: s.User, Password: s.Password.Reveal()}
		if mail, err = email.New(server, cfg.MailFrom.String()); err != nil {
			return nil, nil, err
		}
		out[mail.Kind()] = mail
	}
	return out, mail, nil
}
