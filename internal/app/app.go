// Package app owns the wiring that both commands share: from a configuration
// it makes the database, the service, its worker and its HTTP server, runs them,
// and stops them in order.
//
//	err := app.Run(ctx, cfg, app.Options{Serve: true, Out: os.Stdout, Log: log})
package app

import (
	"context"
	"crypto/rand"
	"errors"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync/atomic"
	"time"
	_ "time/tzdata" // machines and containers may lack the zones' rules

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/metrics"
	"dryslot/internal/planner"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/local"
	"dryslot/internal/projects"
	"dryslot/internal/traces"
)

// Options say what to run.
type Options struct {
	Serve bool // requests; else it is a worker alone
	Demo  bool // a demonstration: a token and a project of ours, if there is none
	Out   io.Writer
	Log   *slog.Logger
	// After is the clock of stopping in good order; nil: time.After.
	After func(time.Duration) <-chan time.Time
}

// Bounds of stopping in good order, in the order of stopping; before them the
// service is not ready for as long as DRYSLOT_DRAIN says.
const (
	stopServer   = 10 * time.Second
	stopWorker   = 10 * time.Second // jobs are cancelled before: jobs.StopWithin
	stopProbes   = time.Second
	stopStore    = 5 * time.Second
	stopTraces   = 5 * time.Second
	stopDatabase = 20 * time.Second
)

// instance is what is running.
type instance struct {
	cfg      config.Config
	log      *slog.Logger
	out      io.Writer
	metrics  *metrics.Metrics
	traces   *traces.Traces // nil: none are made
	local    *local.Server  // nil: the operator's own server
	store    *postgres.Store
	projects *projects.Service
	alerts   *alerts.Service
	fetching *fetching.Service
	people   *accounts.Service
	token    string // of the demonstration; empty: none
	pushKey  string // public, that browsers subscribe with
	after    func(time.Duration) <-chan time.Time
	stopping atomic.Bool // not ready any more
}

// Run runs until ctx ends or something that it needs fails, then stops what
// it started: it is not ready any more, then takes no requests, then works no
// jobs, then ends a PostgreSQL of its own.
// Mistakes of the configuration are fault.Invalid.
func Run(ctx context.Context, cfg config.Config, o Options) (err error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Out == nil {
		o.Out = io.Discard
	}
	if !o.Serve && !cfg.DatabaseURL.IsSet() {
		var bad fault.List
		bad.Add("DATABASE_URL", "", "must be set for a worker of its own: the local PostgreSQL belongs to the "+
			"command that serves")
		return bad.Err("the worker can't be started")
	}
	if o.After == nil {
		o.After = time.After
	}
	in := &instance{cfg: cfg, log: o.Log, out: o.Out, metrics: metrics.New(), after: o.After}
	defer func() { err = errors.Join(err, in.close()) }()
	if err := in.trace(ctx, o.Serve); err != nil {
		return err
	}
	if err := in.database(ctx); err != nil {
		return err
	}
	if err := in.accounts(ctx, o.Demo); err != nil {
		return err
	}
	var listener, probes net.Listener
	if o.Serve {
		if listener, err = listen(ctx, "DRYSLOT_LISTEN", cfg.Listen); err != nil {
			return err
		}
		defer listener.Close()
	}
	if cfg.Probes != "" {
		if probes, err = listen(ctx, "DRYSLOT_OPS_LISTEN", cfg.Probes); err != nil {
			return err
		}
		defer probes.Close()
	}
	if err = in.services(publicURL(cfg, listener)); err != nil {
		return err
	}
	if o.Demo {
		if err := in.demonstrate(ctx, listener.Addr()); err != nil {
			return err
		}
	}
	return in.run(ctx, listener, probes, !o.Serve || cfg.InlineWorker)
}

// listen listens on the address that a setting gives.
func listen(ctx context.Context, key, address string) (net.Listener, error) {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fault.Wrap(fault.Invalid, key+" = "+address+" can't be listened on; another address or port 0 may",
			err)
	}
	return l, nil
}

// publicURL is the address that the pages are reached at.
func publicURL(cfg config.Config, l net.Listener) string {
	switch {
	case cfg.PublicURL != nil:
		return strings.TrimSuffix(cfg.PublicURL.String(), "/")
	case l != nil:
		return "http://" + l.Addr().String()
	}
	return "http://" + cfg.Listen
}

// database makes sure of a migrated database, starting a server of our own
// where none is given.
func (in *instance) database(ctx context.Context) (err error) {
	serviceURL, ownerURL := in.cfg.DatabaseURL.Reveal(), in.cfg.MigrateURL.Reveal()
	if serviceURL == "" {
		if err := in.startLocal(ctx); err != nil {
			return err
		}
		serviceURL, ownerURL = in.local.URL(), in.local.MigrateURL()
	}
	role, err := postgres.RoleOf(serviceURL)
	if err != nil {
		return err
	}
	if err := postgres.Migrate(ctx, ownerURL, role); err != nil {
		return err
	}
	var options []postgres.Option
	if in.traces != nil {
		options = append(options, postgres.Traced(in.traces.Provider()))
	}
	in.store, err = postgres.Open(ctx, serviceURL, options...)
	return err
}

// startLocal starts a PostgreSQL of the service's own, if that is not done yet.
func (in *instance) startLocal(ctx context.Context) (err error) {
	if in.local != nil {
		return nil
	}
	if in.local, err = local.Start(ctx, local.Options{DataDir: in.cfg.DataDir, Log: in.log}); err != nil {
		return err
	}
	in.log.Info("PostgreSQL is ready", "process", in.local.PID(), "folder", in.local.Folder(), "adopted",
		in.local.Adopted())
	return nil
}

// accounts makes sure of the accounts that the configuration asks for.
func (in *instance) accounts(ctx context.Context, demo bool) (err error) {
	in.people = &accounts.Service{Store: in.store, Wall: time.Now, SignUp: accounts.SignUp(in.cfg.SignUp)}
	in.token = in.cfg.Token.Reveal()
	if demo && in.token == "" {
		if in.token, err = keptToken(in.cfg.DataDir); err != nil {
			return err
		}
	}
	if in.token == "" {
		return nil
	}
	_, err = in.store.EnsureToken(ctx, in.token)
	return err
}

// trace begins to send spans where a collector is named.
func (in *instance) trace(ctx context.Context, serves bool) (err error) {
	if in.cfg.Collector == "" {
		return nil
	}
	name := "dryslot-worker"
	if serves {
		name = "dryslot-api"
	}
	in.traces, err = traces.New(ctx, traces.Options{Endpoint: in.cfg.Collector, Service: name,
		Share: in.cfg.TracedShare, Log: in.log})
	return err
}

// clock is the service's: the wall's, or one set to another instant and
// ticking on from there.
func (in *instance) clock() func() time.Time {
	if in.cfg.StartAt.IsZero() {
		return time.Now
	}
	begun := time.Now()
	return func() time.Time { return in.cfg.StartAt.Add(time.Since(begun)) }
}

// services makes the services, which share the store and the clock.
func (in *instance) services(baseURL string) error {
	fs, err := feeds(in.cfg, in.log)
	if err != nil {
		return err
	}
	cs, mail, err := channels(in.cfg)
	if err != nil {
		return err
	}
	pushes, err := in.pushes(baseURL)
	if err != nil {
		return err
	}
	cs[pushes.Kind()], in.pushKey = pushes, pushes.PublicKey()
	in.people.BaseURL = baseURL
	if in.people.Keys, err = accounts.NewRelyingParty(baseURL); err != nil {
		return err
	}
	if mail != nil {
		in.people.Mailer = mail
	}
	now := in.clock()
	in.fetching = &fetching.Service{Store: in.store.Fetching(), Feeds: timedFeeds(in.metrics, in.traces, fs),
		Now: now, Wall: time.Now, After: time.After, Log: in.log}
	in.alerts = &alerts.Service{Store: in.store.Alerts(), Channels: cs, Now: now, Random: rand.Reader, Log: in.log,
		MostRecipients: in.cfg.MostRecipients,
		BaseURL:        baseURL, SetClock: !in.cfg.StartAt.IsZero()}
	in.projects = &projects.Service{Store: in.store.Projects(), Alerts: in.alerts,
		Plan: timedPlan(in.metrics, in.traces, planner.Make), Now: now, Wall: time.Now, Log: in.log,
		MostProjects: in.cfg.MostProjects, MostPads: in.cfg.MostPads, MostPhotos: in.cfg.MostPhotos}
	in.alerts.Projects = in.projects
	return nil
}

// close ends what database began.
func (in *instance) close() error {
	if in.store != nil {
		closed := make(chan struct{})
		go func() {
			in.store.Close()
			close(closed)
		}()
		select {
		case <-closed:
		case <-time.After(stopStore): // the server undoes what is still open
			in.log.Warn("transactions under way were given up")
		}
	}
	if err := stopWithin(stopTraces, in.traces.Stop); err != nil {
		in.log.Warn("the last spans were not sent", "error", err)
	}
	if in.local != nil {
		return stopWithin(stopDatabase, in.local.Stop)
	}
	return nil
}

func stopWithin(d time.Duration, stop func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(context.Background(), d)
	defer cancel()
	return stop(ctx)
}

// pooled reports whether a connection may go through a pooler that shares
// connections between transactions, where LISTEN hears nothing: such a URL asks
// for another mode than prepared statements, which break there too.
func pooled(url string) bool {
	return strings.Contains(url, "default_query_exec_mode=") && !strings.Contains(url, "=cache_statement")
}
