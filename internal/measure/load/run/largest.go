package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

// poll is how often a plan that is awaited is asked for.
const poll = 20 * time.Millisecond

// largest measures what the largest valid projects cost, through the API of a
// service in a process of its own, and whether they delay another account.
// CPU seconds are of the service's process, that of PostgreSQL left out.
type largest struct {
	base   string // address of the service
	pid    int
	client *http.Client
}

// measureLargest prints the figures of the largest projects: pads of each, and
// how many of them are posted at once.
func measureLargest(ctx context.Context, pads, atOnce int) (err error) {
	dir, server, stop, err := startDatabase(ctx, "dryslot-largest-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stop()) }()
	heavy, light := "a token of the account with large projects", "a token of the account with small ones"
	store, err := postgres.Open(ctx, server.URL())
	if err != nil {
		return err
	}
	defer store.Close()
	var accounts [2]string
	for i, t := range []string{heavy, light} {
		if accounts[i], err = store.EnsureToken(ctx, t); err != nil {
			return err
		}
	}
	var procs children
	defer func() { err = errors.Join(err, procs.stop()) }()
	provider, address, err := procs.start(ctx, dir, "provider", nil, "provider", "-errors", "0", "-hangs", "0")
	if err != nil {
		return err
	}
	defer provider.Close()
	cookies, err := cookiejar.New(nil)
	if err != nil {
		return err
	}
	l := &largest{client: &http.Client{Timeout: time.Minute, Jar: cookies}}
	if err := l.serve(ctx, &procs, dir, server.URL(), address); err != nil {
		return err
	}
	if err := l.signIn(ctx, heavy); err != nil { // pages know sessions alone
		return err
	}
	// The first project of a cell waits for the feed, which is not what is measured.
	quiet, err := l.create(ctx, light, specOf(1, 0, [2]float64{53, 9}))
	if err != nil {
		return err
	}
	if _, err := l.await(ctx, light, quiet); err != nil {
		return err
	}
	for i, mixed := range []bool{true, false} {
		name := map[bool]string{true: "thicknesses", false: "equal"}[mixed]
		if err := l.alone(ctx, name, heavy, largeSpec(i, pads, mixed)); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	if err := l.longLog(ctx, store, accounts[0], heavy, pads); err != nil {
		return fmt.Errorf("long log: %w", err)
	}
	return l.besideOthers(ctx, heavy, light, quiet, pads, atOnce)
}

// serve starts the service with its worker in one process.
func (l *largest) serve(ctx context.Context, procs *children, dir, database, feed string) error {
	env := []string{"DATABASE_URL=" + database, "DRYSLOT_FEEDS=open-meteo", "OPENMETEO_URL=" + feed,
		"DRYSLOT_CONTACT=load@dryslot.example", "DRYSLOT_LISTEN=127.0.0.1:0", "DRYSLOT_WORKER=inline",
		"DRYSLOT_REQUESTS_A_MINUTE=0", "DRYSLOT_MOST_PROJECTS=0"}
	cmd, out, err := procs.command(ctx, dir, "service", env, "serve")
	if err != nil {
		return err
	}
	procs.workers = append(procs.workers, cmd)
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if at, found := strings.CutPrefix(lines.Text(), "listening on "); found {
			l.base, l.pid = at, cmd.Process.Pid
			go func() { _, _ = io.Copy(io.Discard, out) }() // nothing else is wanted of it
			return nil
		}
	}
	return fmt.Errorf("the service did not start: %w", errors.Join(lines.Err(), io.ErrUnexpectedEOF))
}

// signIn begins a session for the pages.
func (l *largest) signIn(ctx context.Context, token string) error {
	form := strings.NewReader(url.Values{"token": {token}}.Encode())
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, l.base+"/sign-in", form)
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	resp, err := l.client.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return fmt.Errorf("sign in: %s", resp.Status)
	}
	return nil
}

// alone measures one large project with nothing else going on: its first plan,
// an entry of its log, a question and its page.
func (l *largest) alone(ctx context.Context, name, token string, spec pour.Spec) error {
	var plan pour.Plan
	id, first, err := l.timed(func() (id string, err error) {
		if id, err = l.create(ctx, token, spec); err == nil {
			plan, err = l.await(ctx, token, id)
		}
		return id, err
	})
	if err != nil {
		return err
	}
	printSpent(name, "first_plan", first)
	fmt.Printf("largest_%s_gap: %.3g of_the_loss\n", name, plan.Solver.Gap)
	return l.ask(ctx, name, token, id, spec.Pads[0].Name)
}

func printSpent(name, step string, took spent) {
	step = "largest_" + name + "_" + step
	fmt.Printf("%s_cpu: %.3g s\n%s: %.3g s\n", step, took.cpu.Seconds(), step, took.wall.Seconds())
}

// ask logs that a pad was placed, tries a change and opens the page.
func (l *largest) ask(ctx context.Context, name, token, id, pad string) error {
	placed := struct {
		Kind pour.EntryKind `json:"kind"`
		Pads []string       `json:"pads"`
		At   time.Time      `json:"at"`
	}{pour.EntryPlaced, []string{pad}, time.Now()}
	steps := []struct {
		name, method, path string
		body               any
	}{
		{"log_entry", http.MethodPost, "/v1/projects/" + id + "/log", placed},
		{"what_if", http.MethodPost, "/v1/projects/" + id + "/plan", json.RawMessage(`{"what_if":{"people":2}}`)},
		{"page", http.MethodGet, "/p/" + id, nil},
	}
	for _, s := range steps {
		_, took, err := l.timed(func() (string, error) { return "", l.call(ctx, s.method, s.path, token, s.body, nil) })
		if err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
		printSpent(name, s.name, took)
	}
	return nil
}

// longLog measures a project whose log is as long as it may be: six entries for
// each of the pads but the last few, and notes.
func (l *largest) longLog(ctx context.Context, store *postgres.Store, account, token string, pads int) error {
	spec := largeSpec(2, pads, true)
	id, err := l.create(ctx, token, spec)
	if err != nil {
		return err
	}
	begun := time.Now().Add(-24 * time.Hour * time.Duration(pads))
	err = store.InAccount(ctx, account, func(ctx context.Context, tx *postgres.AccountTx) error {
		for n := range projects.MostEntries - 1 {
			i := n / len(workOnAPad)
			e := pour.LogEntry{Kind: pour.EntryNote, Text: "swept", At: begun.Add(time.Duration(n) * time.Minute)}
			if i < pads-8 {
				e.Text = ""
				e.Kind, e.Pad = workOnAPad[n%len(workOnAPad)], spec.Pads[i].Name
				e.At = begun.Add(24*time.Hour*time.Duration(i) + 2*time.Hour*time.Duration(n%len(workOnAPad)))
			}
			e.RecordedAt = e.At
			if _, err := tx.AppendLog(ctx, id, e); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	_, first, err := l.timed(func() (string, error) {
		return "", l.call(ctx, http.MethodPost, "/v1/projects/"+id+"/plan", token, json.RawMessage(`{}`), nil)
	})
	if err != nil {
		return err
	}
	printSpent("entries", "plan", first)
	return l.ask(ctx, "entries", token, id, spec.Pads[pads-1].Name)
}

// workOnAPad are the entries of a pad that went as planned.
var workOnAPad = [...]pour.EntryKind{pour.EntryFormed, pour.EntryPlacing, pour.EntryPlaced, pour.EntryFinished,
	pour.EntryCovered, pour.EntryStripped}

// besideOthers posts many large projects of one account at once, and measures
// how long another account waits: for the plan of a new project of twelve pads,
// and for tomorrow's morning of its quiet project.
func (l *largest) besideOthers(ctx context.Context, heavy, light, quiet string, pads, atOnce int) error {
	for i := range atOnce {
		if _, err := l.create(ctx, heavy, largeSpec(10+i, pads, i%2 == 0)); err != nil {
			return err
		}
	}
	begun := time.Now()
	id, err := l.create(ctx, light, specOf(2, 0, [2]float64{53, 9}))
	if err != nil {
		return err
	}
	if _, err := l.await(ctx, light, id); err != nil {
		return err
	}
	waited := time.Since(begun)
	var reads []time.Duration
	for range 200 {
		begun := time.Now()
		if err := l.call(ctx, http.MethodGet, "/v1/projects/"+quiet+"/mornings/tomorrow", light, nil, nil); err != nil {
			return err
		}
		reads = append(reads, time.Since(begun))
	}
	slices.Sort(reads)
	fmt.Printf(
		"largest_posted_at_once: %d projects\nlargest_beside_first_plan_of_12_pads: "+
			"%.3g s\nlargest_beside_tomorrow_p99: %.3g ms\n",
		atOnce, waited.Seconds(), 1e3*reads[len(reads)*99/100].Seconds())
	return nil
}

func (l *largest) create(ctx context.Context, token string, spec pour.Spec) (string, error) {
	var made struct {
		ID string `json:"id"`
	}
	err := l.call(ctx, http.MethodPost, "/v1/projects", token, spec, &made)
	return made.ID, err
}

// await asks for a project's plan until it is made from a forecast.
func (l *largest) await(ctx context.Context, token, id string) (p pour.Plan, err error) {
	tick := time.NewTicker(poll)
	defer tick.Stop()
	for {
		p = pour.Plan{}
		if err := l.call(ctx, http.MethodGet, "/v1/projects/"+id+"/plan", token, nil, &p); err != nil {
			return p, err
		}
		if len(p.Pours) > 0 {
			return p, nil
		}
		select {
		case <-ctx.Done():
			return p, ctx.Err()
		case <-tick.C:
		}
	}
}

func (l *largest) call(ctx context.Context, method, path, token string, body, into any) error {
	var in io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return err
		}
		in = bytes.NewReader(b)
	}
	req, err := http.NewRequestWithContext(ctx, method, l.base+path, in)
	if err != nil {
		return err
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", "application/json")
	resp, err := l.client.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		return err
	}
	if resp.StatusCode >= http.StatusBadRequest {
		return fmt.Errorf("%s %s: %s: %s", method, path, resp.Status, b)
	}
	if strings.HasPrefix(path, "/p/") && !bytes.Contains(b, []byte("Large yard")) {
		return fmt.Errorf("%s is not the page of the project", path)
	}
	if into == nil {
		return nil
	}
	return json.Unmarshal(b, into)
}

// spent is what a step took.
type spent struct{ cpu, wall time.Duration }

func (l *largest) timed(do func() (string, error)) (string, spent, error) {
	before, err := cpuOf(l.pid)
	if err != nil {
		return "", spent{}, err
	}
	begun := time.Now()
	out, err := do()
	wall := time.Since(begun)
	after, errAfter := cpuOf(l.pid)
	return out, spent{after - before, wall}, errors.Join(err, errAfter)
}

// cpuOf returns the CPU time of a process until now, of user and system: fields
// 14 and 15 of /proc/PID/stat, in hundredths of a second (proc(5), with the
// clock tick that Linux shows to programs).
func cpuOf(pid int) (time.Duration, error) {
	b, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
	if err != nil {
		return 0, err
	}
	_, rest, _ := strings.Cut(string(b), ") ") // the command's name may hold spaces
	f := strings.Fields(rest)
	if len(f) < 13 {
		return 0, fmt.Errorf("/proc/%d/stat: %w", pid, syscall.EINVAL)
	}
	var sum time.Duration
	for _, s := range f[11:13] {
		n, err := strconv.Atoi(s)
		if err != nil {
			return 0, fmt.Errorf("/proc/%d/stat: %w", pid, err)
		}
		sum += time.Duration(n) * 10 * time.Millisecond
	}
	return sum, nil
}

// largeSpec is a project of so many pads, of one thickness or each of its own.
// All lie in the same cell.
func largeSpec(n, pads int, mixed bool) pour.Spec {
	s := specOf(2*n, 0, [2]float64{53, 9})
	s.Name, s.Pads = fmt.Sprintf("Large yard %d", n), nil
	for i := range pads {
		p := pour.Pad{Name: fmt.Sprintf("P%d", i), LengthM: 1, WidthM: 1, ThicknessM: 0.075, XM: float64(i % 25),
			YM: float64(i / 25)}
		if mixed {
			p.ThicknessM = 0.05 + 0.15*float64(i*7919%pads)/float64(pads)
		}
		s.Pads = append(s.Pads, p)
	}
	s.Normalize()
	return s
}
