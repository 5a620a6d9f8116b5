package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"time"

	"dryslot/internal/config"
	"dryslot/internal/jobs"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/retention"
	"dryslot/internal/traces"
	"dryslot/internal/web"
	"dryslot/internal/web/api"
	"dryslot/internal/web/pages"
	"dryslot/internal/web/pages/view"
)

// run serves and works until ctx ends or a part fails. Probes are answered for
// as long as anything else is at work.
func (in *instance) run(ctx context.Context, listener, probes net.Listener, work bool) (err error) {
	failed := make(chan error, 2)
	if probes != nil {
		stop := in.serve("probes", probes, web.Probes(in.shared(listener)), stopProbes, failed)
		defer func() { err = errors.Join(err, stop()) }()
		fmt.Fprintf(in.out, "probes and metrics on http://%s\n", probes.Addr())
	}
	if work {
		w, err := in.worker()
		if err != nil {
			return err
		}
		// Jobs under way end when they are stopped below, not when ctx does.
		if err := w.Start(context.WithoutCancel(ctx)); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, in.stopPart("worker", stopWorker, w.Stop)) }()
		in.log.Info("worker started")
	}
	if listener != nil {
		handler, err := in.handler(listener)
		if err != nil {
			return err
		}
		stop := in.serve("server", listener, handler, stopServer, failed)
		defer func() { err = errors.Join(err, stop()) }()
		fmt.Fprintf(in.out, "listening on http://%s\n", listener.Addr())
		go in.loadZones()
	}
	return in.wait(ctx, failed)
}

// wait returns when ctx ends or a part fails. Where ctx ends the service says
// first that it is not ready, and goes on for as long as a load balancer needs
// to send no more requests here.
func (in *instance) wait(ctx context.Context, failed <-chan error) error {
	var gone <-chan struct{}
	if in.local != nil {
		gone = in.local.Done()
	}
	stop, drained := ctx.Done(), (<-chan time.Time)(nil)
	for {
		select {
		case <-stop:
			in.log.Info("stopping", "not_ready_for", in.cfg.Drain)
			in.stopping.Store(true)
			if in.cfg.Drain == 0 {
				return nil
			}
			stop, drained = nil, in.after(in.cfg.Drain)
		case <-drained:
			return nil
		case <-gone:
			return errors.New("app: the local PostgreSQL has ended; its log lies in " + in.cfg.DataDir)
		case err := <-failed:
			return fmt.Errorf("app: serving: %w", err)
		}
	}
}

// worker makes the worker of the queue.
func (in *instance) worker() (interface {
	Start(context.Context) error
	Stop(context.Context) error
}, error) {
	var spans traces.Provider
	if in.traces != nil {
		spans = in.traces.Provider()
	}
	return jobs.New(in.store.Driver(), jobs.Services{Projects: in.projects, Alerts: in.alerts, Fetching: in.fetching,
		Accounts: in.people, Retention: &retention.Service{Store: in.store.Retention(), Now: in.projects.Now,
			Wall: time.Now}},
		jobs.Options{Log: in.log, PollOnly: pooled(in.cfg.DatabaseURL.Reveal()), Observe: in.metrics.Job,
			Traces: spans})
}

// serve serves a handler until stop, which lets requests under way end within a
// time.
func (in *instance) serve(part string, l net.Listener, h http.Handler, within time.Duration,
	failed chan<- error) (stop func() error) {
	srv := &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		ErrorLog: slog.NewLogLogger(in.log.Handler(), slog.LevelWarn)}
	go func() { failed <- srv.Serve(l) }()
	return func() error {
		return in.stopPart(part, within, func(ctx context.Context) error { return shutDown(ctx, srv) })
	}
}

// stopPart stops a part of the service, and notes in the log that it has.
func (in *instance) stopPart(part string, within time.Duration, stop func(context.Context) error) error {
	err := stopWithin(within, stop)
	in.log.Info("stopped", "part", part)
	return err
}

// shutDown stops a server, letting requests under way end for as long as ctx
// allows. Those that do not are cut off, and their transactions undone.
func shutDown(ctx context.Context, srv *http.Server) error {
	err := srv.Shutdown(ctx)
	if err != nil {
		err = errors.Join(fmt.Errorf("app: requests under way were cut off: %w", err), srv.Close())
	}
	return err
}

// loadZones loads the map of time zones, which takes a second, before the first
// project without a zone waits for it.
func (in *instance) loadZones() {
	if _, err := place.Zone(0, 0); err != nil {
		in.log.Error("the map of time zones can't be loaded", "error", err)
	}
}

// shared is what the pages, the API and the probes have in common.
func (in *instance) shared(l net.Listener) web.Options {
	return web.Options{Store: in.store, Clock: in.projects.Now, ClockSet: in.alerts.SetClock,
		Sample: slices.Contains(in.cfg.Feeds, config.Replay), PublicURL: publicURL(in.cfg, l),
		Origins: in.cfg.Origins, Proxies: in.cfg.Proxies, Log: in.log, Metrics: in.metrics,
		RequestsAMinute: in.cfg.RequestsAMinute, OwnProbes: in.cfg.Probes != "", Stopping: in.stopping.Load,
		Traces: in.traces, RefusalPause: refusalPause}
}

// refusalPause is short for whoever is refused by mistake, and lets one connection
// that guesses have four answers a second (judgement).
const refusalPause = 250 * time.Millisecond

// handler answers the pages and the API.
func (in *instance) handler(l net.Listener) (http.Handler, error) {
	views, err := view.Parse()
	if err != nil {
		return nil, err
	}
	found, err := places(in.cfg, in.projects.Now)
	if err != nil {
		return nil, err
	}
	store := postgres.ViewOfAccounts(in.store, func(tx *postgres.AccountTx) web.Tx { return tx })
	shared := in.shared(l)
	shared.Build = build()
	return web.New(shared,
		api.Routes(api.Services{Projects: in.projects, Alerts: in.alerts, Forecasts: in.fetching, Accounts: in.people,
			PushKey: in.pushKey}, store),
		pages.Routes(pages.Services{Projects: in.projects, Alerts: in.alerts, Forecasts: in.fetching,
			Accounts: in.people, Places: found, PushKey: in.pushKey}, store, views)), nil
}
