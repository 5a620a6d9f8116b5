// Package app owns the wiring that both commands share: from a configuration
// it makes the database, the service, its worker and its door, runs them, and
// stops them in order.
//
//	err := app.Run(ctx, cfg, app.Options{Serve: true, Out: os.Stdout, Log: log})
package app

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // machines and containers may lack the zones' rules

	"dryslot/internal/accounts"
	"dryslot/internal/alerts"
	"dryslot/internal/config"
	"dryslot/internal/fault"
	"dryslot/internal/fetching"
	"dryslot/internal/jobs"
	"dryslot/internal/metrics"
	"dryslot/internal/place"
	"dryslot/internal/planner"
	"dryslot/internal/postgres"
	"dryslot/internal/postgres/local"
	"dryslot/internal/projects"
	"dryslot/internal/retention"
	"dryslot/internal/web"
	"dryslot/internal/web/api"
	"dryslot/internal/web/pages"
	"dryslot/internal/web/pages/view"
)

// Options say what to run.
type Options struct {
	Serve bool // the HTTP door; else a worker alone
	Demo  bool // a demonstration: a token and a project of ours, if there is none
	Out   io.Writer
	Log   *slog.Logger
}

// Bounds of stopping in good order, in the order of stopping.
const (
	stopDoor     = 10 * time.Second
	stopWorker   = 10 * time.Second // jobs are cancelled before: jobs.StopWithin
	stopStore    = 5 * time.Second
	stopDatabase = 20 * time.Second
)

// house is what is running.
type house struct {
	cfg      config.Config
	log      *slog.Logger
	out      io.Writer
	metrics  *metrics.Metrics
	local    *local.Server // nil: the operator's own server
	store    *postgres.Store
	projects *projects.Service
	alerts   *alerts.Service
	fetching *fetching.Service
	people   *accounts.Service
	token    string // of the demonstration; empty: none
	pushKey  string // public, that browsers subscribe with
}

// Run runs until ctx ends or something that it needs fails, then stops what
// it started: the door first, then the worker, then a PostgreSQL of its own.
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
		bad.Add("DATABASE_URL", "", "must be set for a worker of its own: the local PostgreSQL belongs to the command that serves")
		return bad.Err("the worker can't be started")
	}
	h := &house{cfg: cfg, log: o.Log, out: o.Out, metrics: metrics.New()}
	defer func() { err = errors.Join(err, h.close()) }()
	if err := h.database(ctx); err != nil {
		return err
	}
	if err := h.accounts(ctx, o.Demo); err != nil {
		return err
	}
	var listener net.Listener
	if o.Serve {
		if listener, err = (&net.ListenConfig{}).Listen(ctx, "tcp", cfg.Listen); err != nil {
			return fault.Wrap(fault.Invalid, "DRYSLOT_LISTEN = "+cfg.Listen+" can't be listened on; another address or port 0 may", err)
		}
		defer listener.Close()
	}
	if err = h.services(publicURL(cfg, listener)); err != nil {
		return err
	}
	if o.Demo {
		if err := h.demonstrate(ctx, listener.Addr()); err != nil {
			return err
		}
	}
	return h.run(ctx, listener, !o.Serve || cfg.InlineWorker)
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
func (h *house) database(ctx context.Context) (err error) {
	serviceURL, ownerURL := h.cfg.DatabaseURL.Reveal(), h.cfg.MigrateURL.Reveal()
	if serviceURL == "" {
		if h.local, err = local.Start(ctx, local.Options{DataDir: h.cfg.DataDir, Log: h.log}); err != nil {
			return err
		}
		serviceURL, ownerURL = h.local.URL(), h.local.MigrateURL()
		h.log.Info("PostgreSQL is ready", "process", h.local.PID(), "folder", h.local.Folder(), "adopted", h.local.Adopted())
	}
	role, err := postgres.RoleOf(serviceURL)
	if err != nil {
		return err
	}
	if err := postgres.Migrate(ctx, ownerURL, role); err != nil {
		return err
	}
	h.store, err = postgres.Open(ctx, serviceURL)
	return err
}

// accounts makes sure of the accounts that the configuration asks for.
func (h *house) accounts(ctx context.Context, demo bool) (err error) {
	h.people = &accounts.Service{Store: h.store, Wall: time.Now, SignUp: accounts.SignUp(h.cfg.SignUp)}
	h.token = h.cfg.Token.Reveal()
	if demo && h.token == "" {
		if h.token, err = keptToken(h.cfg.DataDir); err != nil {
			return err
		}
	}
	if h.token == "" {
		return nil
	}
	_, err = h.store.EnsureToken(ctx, h.token)
	return err
}

// clock is the service's: the wall's, or one set to another instant and
// ticking on from there.
func (h *house) clock() func() time.Time {
	if h.cfg.StartAt.IsZero() {
		return time.Now
	}
	begun := time.Now()
	return func() time.Time { return h.cfg.StartAt.Add(time.Since(begun)) }
}

// services makes the services, which share the store and the clock.
func (h *house) services(baseURL string) error {
	fs, err := feeds(h.cfg, h.log)
	if err != nil {
		return err
	}
	cs, mail, err := channels(h.cfg)
	if err != nil {
		return err
	}
	pushes, err := h.pushes(baseURL)
	if err != nil {
		return err
	}
	cs[pushes.Kind()], h.pushKey = pushes, pushes.PublicKey()
	h.people.BaseURL = baseURL
	if mail != nil {
		h.people.Mailer = mail
	}
	now := h.clock()
	h.fetching = &fetching.Service{Store: h.store.Fetching(), Feeds: timedFeeds(h.metrics, fs),
		Now: now, Wall: time.Now, After: time.After, Log: h.log}
	h.alerts = &alerts.Service{Store: h.store.Alerts(), Channels: cs, Now: now, Random: rand.Reader, Log: h.log,
		BaseURL: baseURL, SetClock: !h.cfg.StartAt.IsZero()}
	h.projects = &projects.Service{Store: h.store.Projects(), Alerts: h.alerts,
		Plan: timedPlan(h.metrics, planner.Make), Now: now, Wall: time.Now, Log: h.log}
	h.alerts.Projects = h.projects
	return nil
}

// run serves and works until ctx ends or a part fails.
func (h *house) run(ctx context.Context, listener net.Listener, work bool) (err error) {
	failed := make(chan error, 2)
	if work {
		w, err := jobs.New(h.store.Driver(), jobs.Services{Projects: h.projects, Alerts: h.alerts, Fetching: h.fetching, Accounts: h.people,
			Retention: &retention.Service{Store: h.store.Retention(), Now: h.projects.Now, Wall: time.Now}},
			jobs.Options{Log: h.log, PollOnly: pooled(h.cfg.DatabaseURL.Reveal()), Observe: h.metrics.Job})
		if err != nil {
			return err
		}
		// Jobs under way end when they are stopped below, not when ctx does.
		if err := w.Start(context.WithoutCancel(ctx)); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, stopWithin(stopWorker, w.Stop)) }()
		h.log.Info("worker started")
	}
	if listener != nil {
		srv, err := h.door(listener)
		if err != nil {
			return err
		}
		go func() { failed <- srv.Serve(listener) }()
		defer func() {
			err = errors.Join(err, stopWithin(stopDoor, func(ctx context.Context) error { return shut(ctx, srv) }))
		}()
		fmt.Fprintf(h.out, "listening on http://%s\n", listener.Addr())
		go h.warm()
	}
	var gone <-chan struct{}
	if h.local != nil {
		gone = h.local.Done()
	}
	select {
	case <-ctx.Done():
		h.log.Info("stopping")
		return nil
	case <-gone:
		return errors.New("app: the local PostgreSQL has ended; its log lies in " + h.cfg.DataDir)
	case err := <-failed:
		return fmt.Errorf("app: serving: %w", err)
	}
}

// shut stops the door, letting requests under way end for as long as ctx
// allows. Those that do not are cut off, and their transactions undone.
func shut(ctx context.Context, srv *http.Server) error {
	err := srv.Shutdown(ctx)
	if err != nil {
		err = errors.Join(fmt.Errorf("app: requests under way were cut off: %w", err), srv.Close())
	}
	return err
}

// warm loads the map of time zones, which takes a second, before the first
// project without a zone waits for it.
func (h *house) warm() {
	if _, err := place.Zone(0, 0); err != nil {
		h.log.Error("the map of time zones can't be loaded", "error", err)
	}
}

// door makes the HTTP server.
func (h *house) door(l net.Listener) (*http.Server, error) {
	views, err := view.Parse()
	if err != nil {
		return nil, err
	}
	found, err := places(h.cfg, h.projects.Now)
	if err != nil {
		return nil, err
	}
	store := postgres.ViewOfAccounts(h.store, func(tx *postgres.AccountTx) web.Tx { return tx })
	handler := web.New(web.Options{Store: h.store, Clock: h.projects.Now, ClockSet: h.alerts.SetClock,
		Sample: slices.Contains(h.cfg.Feeds, config.Replay), PublicURL: publicURL(h.cfg, l),
		Origins: h.cfg.Origins, Proxies: h.cfg.Proxies, Build: build(), Log: h.log, Metrics: h.metrics},
		api.Routes(api.Services{Projects: h.projects, Alerts: h.alerts, Forecasts: h.fetching, Accounts: h.people, PushKey: h.pushKey}, store),
		pages.Routes(pages.Services{Projects: h.projects, Alerts: h.alerts, Forecasts: h.fetching, Accounts: h.people, Places: found}, store, views))
	return &http.Server{Handler: handler, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		ErrorLog: slog.NewLogLogger(h.log.Handler(), slog.LevelWarn)}, nil
}

// close ends what database began.
func (h *house) close() error {
	if h.store != nil {
		closed := make(chan struct{})
		go func() {
			h.store.Close()
			close(closed)
		}()
		select {
		case <-closed:
		case <-time.After(stopStore): // the server undoes what is still open
			h.log.Warn("transactions under way were given up")
		}
	}
	if h.local != nil {
		return stopWithin(stopDatabase, h.local.Stop)
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
