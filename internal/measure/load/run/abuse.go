package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"dryslot/internal/measure/load"
	"dryslot/internal/postgres"
)

// Measuring what one account's abuse does to another's: bad tokens, more projects
// and recipients than anyone needs, bodies without end, headers that do not come,
// bodies that unpack to a thousand times their size, webhooks that never answer,
// and a feed that lies.
const (
	mostSlowdown  = 3.0 // of the other account's p99, as a ratio to its quiet value
	readsAtLeast  = 300
	readAPause    = 150 * time.Millisecond // between reads: within what an account may ask
	entriesAbused = 30
	// attackerAt is where the abuse comes from: the limits of an address must not
	// reach whoever comes from another.
	attackerAt = "127.0.0.2"
)

// abuse measures one run of it.
type abuse struct {
	o               options
	dir             string
	base            string // of the API
	quiet           string // the other account's project
	attacker, other *http.Client
	stalled         string // address of webhooks that never answer
	hooks           string // address of one that does
	wasted          string // a project of the attacker's

	mu      sync.Mutex
	refused map[string]map[int]int // answers, by what was tried
	came    map[string]bool        // alerts at the other account's webhook, by id
}

const (
	attackersToken = "a token of the account that abuses"
	othersToken    = "a token of the account beside it"
)

// measureAbuse prints what the other account has of it.
func measureAbuse(ctx context.Context, o options) (err error) {
	dir, server, stop, err := startDatabase(ctx, "dryslot-abuse-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stop()) }()
	store, err := postgres.Open(ctx, server.URL())
	if err != nil {
		return err
	}
	defer store.Close()
	for _, t := range []string{attackersToken, othersToken} {
		if _, err := store.EnsureToken(ctx, t); err != nil {
			return err
		}
	}
	a := &abuse{o: o, dir: dir, other: &http.Client{Timeout: time.Minute}, attacker: from(attackerAt),
		refused: map[string]map[int]int{}, came: map[string]bool{}}
	// Of 100 requests to the feed 30 are answered by what is no forecast: errors,
	// pages of a portal, documents cut off.
	feed, stopFeed, err := listenOn(ctx, load.NewProvider(load.Config{Errors: 0.3}))
	if err != nil {
		return err
	}
	defer stopFeed()
	stopHooks, err := a.webhooks(ctx)
	if err != nil {
		return err
	}
	defer stopHooks()
	var procs children
	defer func() { err = errors.Join(err, procs.stop()) }()
	env := []string{"DATABASE_URL=" + server.URL(), "DRYSLOT_FEEDS=open-meteo", "OPENMETEO_URL=" + feed,
		"OPENMETEO_KEY=load", "DRYSLOT_CONTACT=load@dryslot.example", "DRYSLOT_PRIVATE_WEBHOOKS=127.0.0.0/8",
		"DRYSLOT_LISTEN=127.0.0.1:0"}
	out, line, err := procs.start(ctx, dir, "api", append(env, "DRYSLOT_WORKER=off"), "serve")
	if err != nil {
		return err
	}
	go func() { _, _ = io.Copy(io.Discard, out) }() // it says nothing else that is wanted
	found := false
	if _, a.base, found = strings.Cut(line, "listening on "); !found {
		return fmt.Errorf("the API says %q", line)
	}
	if err := procs.worker(ctx, dir, "worker", env, []string{"worker"}); err != nil {
		return err
	}
	return a.run(ctx)
}

// from is a client whose connections come from an address.
func from(address string) *http.Client {
	d := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(address)}}
	return &http.Client{Timeout: 20 * time.Second,
		Transport: &http.Transport{DialContext: d.DialContext, MaxIdleConnsPerHost: 16, MaxConnsPerHost: 16}}
}

// webhooks serves one webhook that answers and notes what came, and one that
// takes the connection and never answers.
func (a *abuse) webhooks(ctx context.Context) (stop func(), err error) {
	good, stopGood, err := listenOn(ctx, http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		a.mu.Lock()
		defer a.mu.Unlock()
		a.came[r.Header.Get("webhook-id")] = true
	}))
	if err != nil {
		return nil, err
	}
	bad, stopBad, err := listenOn(ctx, http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		<-r.Context().Done()
	}))
	if err != nil {
		stopGood()
		return nil, err
	}
	a.hooks, a.stalled = good, bad
	return func() { stopGood(); stopBad() }, nil
}

// run measures the other account alone, then beside the abuse.
func (a *abuse) run(ctx context.Context) error {
	made, err := a.create(ctx, a.other, othersToken, 1)
	if err != nil {
		return err
	}
	a.quiet = made
	hook, err := a.recipient(ctx, a.other, othersToken, a.quiet, a.hooks)
	if err != nil {
		return err
	}
	if a.wasted, err = a.create(ctx, a.attacker, attackersToken, 2); err != nil {
		return err
	}
	over := make(chan struct{})
	close(over)
	quiet, err := a.reads(ctx, over)
	if err != nil {
		return err
	}
	abusing, stop := context.WithCancel(ctx)
	defer stop()
	attacks, abusing := errgroup.WithContext(abusing)
	for _, attack := range a.attacks() {
		attacks.Go(func() error { return attack(abusing) })
	}
	ended := make(chan struct{})
	var attacked error
	go func() {
		attacked = attacks.Wait()
		close(ended)
	}()
	var abused []time.Duration
	var kept []string
	beside, inside := errgroup.WithContext(ctx)
	beside.Go(func() (err error) { abused, err = a.reads(inside, ended); return err })
	beside.Go(func() (err error) { kept, err = a.entries(inside); return err })
	beside.Go(func() error { return a.test(inside, hook) })
	err = beside.Wait()
	if err != nil {
		stop()
	}
	<-ended
	if err := errors.Join(err, attacked); err != nil {
		return err
	}
	return a.print(ctx, quiet, abused, kept)
}

// reads measures how long it takes to be told of tomorrow, until something is over
// and for some time at least.
func (a *abuse) reads(ctx context.Context, over <-chan struct{}) ([]time.Duration, error) {
	least := readsAtLeast
	if a.o.short {
		least /= 10
	}
	var took []time.Duration
	tick := time.NewTicker(readAPause)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case <-over:
			if n >= least {
				slices.Sort(took)
				return took, nil
			}
		default:
		}
		begun := time.Now()
		status, _, err := a.ask(ctx, a.other, http.MethodGet, "/v1/projects/"+a.quiet+"/mornings/tomorrow",
			othersToken, nil)
		switch {
		case err != nil:
			return nil, err
		case status == http.StatusTooManyRequests: // its own limit, which is no answer
		case status != http.StatusOK:
			return nil, fmt.Errorf("tomorrow: %d", status)
		default:
			took = append(took, time.Since(begun))
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// entries logs notes of the other account's, and returns those accepted.
func (a *abuse) entries(ctx context.Context) (kept []string, err error) {
	for i := range entriesAbused {
		text := fmt.Sprintf("note %d", i)
		status, answer, err := a.ask(ctx, a.other, http.MethodPost, "/v1/projects/"+a.quiet+"/log", othersToken,
			struct {
				Kind string    `json:"kind"`
				At   time.Time `json:"at"`
				Text string    `json:"text"`
			}{"note", time.Now().Add(-time.Minute), text})
		if err != nil {
			return nil, err
		}
		if status >= 300 && status != http.StatusTooManyRequests {
			return nil, fmt.Errorf("an entry: %d %s", status, answer)
		}
		if status < 300 {
			kept = append(kept, text)
		}
	}
	return kept, nil
}

// test asks for a test alert of the other account's, and waits until it has come.
func (a *abuse) test(ctx context.Context, recipient string) error {
	status, answer, err := a.ask(ctx, a.other, http.MethodPost, "/v1/projects/"+a.quiet+"/recipients/"+recipient+
		"/test", othersToken, nil)
	if err != nil {
		return err
	}
	if status >= 300 {
		return fmt.Errorf("a test alert: %d %s", status, answer)
	}
	tick := time.NewTicker(poll)
	defer tick.Stop()
	begun := time.Now()
	for {
		a.mu.Lock()
		n := len(a.came)
		a.mu.Unlock()
		if n > 0 {
			fmt.Printf("abused_alert_after: %.2f s\n", time.Since(begun).Seconds())
			return nil
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return fmt.Errorf("the test alert has not come: %w", ctx.Err())
		}
	}
}

// ask asks the API once; the answer is bounded.
func (a *abuse) ask(ctx context.Context, c *http.Client, method, path, token string,
	body any) (status int, answer []byte,
	err error) {
	var in io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return 0, nil, err
		}
		in = bytes.NewReader(b)
	}
	req, err := http.NewRequestWithContext(ctx, method, a.base+path, in)
	if err != nil {
		return 0, nil, err
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", "application/json")
	resp, err := c.Do(req)
	if err != nil {
		return 0, nil, err
	}
	defer resp.Body.Close()
	answer, err = io.ReadAll(io.LimitReader(resp.Body, 1<<20))
	return resp.StatusCode, answer, err
}

// create makes a project.
func (a *abuse) create(ctx context.Context, c *http.Client, token string, n int) (string, error) {
	return a.made(ctx, c, token, "/v1/projects", specOf(n, 0, [2]float64{53, 9}))
}

// recipient adds a webhook.
func (a *abuse) recipient(ctx context.Context, c *http.Client, token, project, address string) (string, error) {
	return a.made(ctx, c, token, "/v1/projects/"+project+"/recipients", struct {
		Kind    string `json:"kind"`
		Address string `json:"address"`
	}{"webhook", address})
}

func (a *abuse) made(ctx context.Context, c *http.Client, token, path string, body any) (string, error) {
	status, answer, err := a.ask(ctx, c, http.MethodPost, path, token, body)
	if err != nil {
		return "", err
	}
	if status != http.StatusCreated {
		return "", fmt.Errorf("POST %s: %d %s", path, status, answer)
	}
	var made struct {
		ID string `json:"id"`
	}
	return made.ID, json.Unmarshal(answer, &made)
}

// print writes the figures, and returns what does not hold.
func (a *abuse) print(ctx context.Context, quiet, abused []time.Duration, kept []string) error {
	status, answer, err := a.ask(ctx, a.other, http.MethodGet, "/v1/projects/"+a.quiet+"/log?limit=200",
		othersToken, nil)
	if err != nil {
		return err
	}
	if status != http.StatusOK {
		return fmt.Errorf("the log: %d %s", status, answer)
	}
	var bad error
	for _, text := range kept {
		if !bytes.Contains(answer, []byte(`"`+text+`"`)) {
			bad = errors.Join(bad, fmt.Errorf("%q was accepted and is lost", text))
		}
	}
	if len(quiet) == 0 || len(abused) == 0 || len(kept) == 0 {
		return errors.Join(bad, errors.New("the other account was refused throughout"))
	}
	for what, answers := range a.refused {
		fmt.Printf("abuse by %s: answers by status %v\n", what, answers)
	}
	was, is := quiet[len(quiet)*99/100], abused[len(abused)*99/100]
	ratio := float64(is) / float64(was)
	fmt.Printf("abused_entries: %d entries\nquiet_tomorrow_p99: %.1f ms\nabused_tomorrow_p99: "+
		"%.1f ms\nabused_slowdown: %.2f ratio\n", len(kept), 1e3*was.Seconds(), 1e3*is.Seconds(), ratio)
	if ratio > mostSlowdown && !a.o.short {
		bad = errors.Join(bad, fmt.Errorf("the other account waits %.2f times as long, at most %g times is wanted",
			ratio, mostSlowdown))
	}
	return bad
}
