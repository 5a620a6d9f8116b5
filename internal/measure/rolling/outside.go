package main

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"sync"
	"time"

	"dryslot/internal/measure/load"
)

// token opens the account that both versions work for.
const token = "a-token-for-a-rolling-upgrade-0123456789"

// firstEvening is when the services' clock begins: a minute before the evening's
// alerts are due, at 19:00 in Lisbon.
var firstEvening = time.Date(2026, 6, 9, 17, 59, 0, 0, time.UTC)

// outside is what both versions talk to: a feed and a webhook on this machine.
type outside struct {
	begun    time.Time
	provider *load.Provider
	feed     string // base address
	hook     string // address
	servers  []*http.Server

	mu       sync.Mutex
	messages map[string]int // taken by the webhook, by id
	bodies   map[string]int // the same, by recipient and by what they say
}

func openOutside(ctx context.Context) (*outside, error) {
	o := &outside{begun: time.Now(), messages: map[string]int{}, bodies: map[string]int{}}
	o.provider = load.NewProvider(load.Config{Now: o.now})
	var err, errHook error
	o.feed, err = o.serve(ctx, o.provider)
	o.hook, errHook = o.serve(ctx, http.HandlerFunc(o.take))
	return o, errors.Join(err, errHook)
}

// now is the services' clock.
func (o *outside) now() time.Time { return firstEvening.Add(time.Since(o.begun)) }

func (o *outside) env() []string {
	return []string{"DRYSLOT_FEEDS=open-meteo", "OPENMETEO_URL=" + o.feed, "OPENMETEO_KEY=rolling",
		"DRYSLOT_WORKER=off", "DRYSLOT_LISTEN=127.0.0.1:0", "DRYSLOT_PUBLIC_URL=http://pads.example", "DRYSLOT_TOKEN=" +
			token,
		"DRYSLOT_PRIVATE_WEBHOOKS=127.0.0.0/8", "DRYSLOT_REQUESTS_A_MINUTE=0"}
}

func (o *outside) serve(ctx context.Context, h http.Handler) (string, error) {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	s := &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second}
	go func() { _ = s.Serve(l) }() // until close
	o.servers = append(o.servers, s)
	return "http://" + l.Addr().String(), nil
}

func (o *outside) close() {
	for _, s := range o.servers {
		_ = s.Close() // nothing is left to answer
	}
}

// take takes a message of the webhook.
func (o *outside) take(_ http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return // its sender has gone
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.messages[r.Header.Get("webhook-id")]++
	o.bodies[r.URL.Path+" "+string(body)]++
}

// taken is how many messages came, and how many came again, by id or with the
// same words.
func (o *outside) taken() (all, again int) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, n := range o.messages {
		all++
		again += n - 1
	}
	for _, n := range o.bodies {
		again += n - 1
	}
	return all, again
}
