package app_test

import (
	"context"
	"flag"
	"fmt"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"dryslot/internal/notify"
)

var (
	crashRounds = flag.Int("crash.rounds", 3, "how often the commands are killed")
	crashSeed   = flag.Uint64("crash.seed", 1, "of the moments at which they are")
)

// told is what the test was told that the service keeps.
type told struct {
	mu         sync.Mutex
	entries    map[string][]string // texts of accepted log entries, by project
	tests      []string            // keys of accepted test alerts
	projects   []string
	recipients map[string][]string // by project
	since      map[string]time.Time
}

type alert struct {
	Key    string  `json:"key"`
	Kind   string  `json:"kind"`
	Date   string  `json:"date"`
	State  string  `json:"state"`
	Tries  int     `json:"tries"`
	Reason *string `json:"reason"`
}

// TestNothingIsLostUnderSIGKILL kills the API with its worker, a second worker
// or both at random moments while they fetch, plan and alert, and starts them
// again. Afterwards every accepted log entry is there once, every alert that
// was due reached its far end or is failed with its reason, and what came
// twice carries the same id and follows a try in flight at a kill.
func TestNothingIsLostUnderSIGKILL(t *testing.T) {
	s := newSite(t, *crashSeed)
	ctx := s.ctx
	s.start("api")
	s.start("worker")
	k := &told{entries: map[string][]string{}, recipients: map[string][]string{}, since: map[string]time.Time{}}
	for i := range 5 {
		s.newProject(k, i)
	}
	asking, stopAsking := context.WithCancel(ctx)
	var askers sync.WaitGroup
	askers.Go(func() { s.keepLogging(asking, k) })
	askers.Go(func() { s.keepTesting(asking, k) })
	for round := range *crashRounds {
		if round%2 == 0 { // they die at work, however slow the machine; else as they come, starting up too
			s.await("api")
			s.await("worker")
		}
		s.pass(ctx, 300*time.Millisecond+s.upTo(2200*time.Millisecond))
		switch {
		case round%3 == 2: // one dies, the other works on
			name := []string{"api", "worker"}[s.upTo(2)]
			_ = s.kill(name, syscall.SIGKILL)
			s.start(name)
		default: // both die, and are away for a while
			s.killAll(syscall.SIGKILL)
			s.ahead(time.Hour + s.upTo(2*time.Hour))
			s.start("api")
			s.start("worker")
		}
		if round%4 == 3 {
			s.newProject(k, 10+round)
		}
	}
	for k.accepted() < *crashRounds && ctx.Err() == nil { // fewer would tell little
		s.pass(ctx, 50*time.Millisecond)
	}
	stopAsking()
	askers.Wait()
	alerts, came := s.settled(k)
	s.checkLog(k)
	s.checkAlerts(k, alerts, came)
	s.checkPlans(k)
}

// accepted is how many log entries were.
func (k *told) accepted() (n int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, texts := range k.entries {
		n += len(texts)
	}
	return n
}

func (k *told) project(n int) (id string, recipient string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	id = k.projects[n%len(k.projects)]
	return id, k.recipients[id][n/len(k.projects)%2]
}

// keepLogging logs entries, each under a key of its own, and notes those that
// were accepted.
func (s *site) keepLogging(ctx context.Context, k *told) {
	for n := 0; ctx.Err() == nil; n++ {
		project, _ := k.project(n)
		text := fmt.Sprintf("entry %d", n)
		body := struct {
			Kind string    `json:"kind"`
			At   time.Time `json:"at"`
			Text string    `json:"text"`
		}{"note", s.now().Add(-10 * time.Minute), text}
		err := s.must(ctx, "POST", "/v1/projects/"+project+"/log", text, body, nil)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			s.t.Error(err)
			return
		}
		k.mu.Lock()
		k.entries[project] = append(k.entries[project], text)
		k.mu.Unlock()
		s.dawdle(ctx, 150*time.Millisecond)
	}
}

// keepTesting asks for test alerts, and notes those that were promised.
func (s *site) keepTesting(ctx context.Context, k *told) {
	for n := 0; ctx.Err() == nil; n++ {
		project, recipient := k.project(n)
		var a alert
		err := s.must(ctx, "POST", "/v1/projects/"+project+"/recipients/"+recipient+"/test", "test"+strconv.Itoa(n), nil, &a)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			s.t.Error(err)
			return
		}
		k.mu.Lock()
		k.tests = append(k.tests, a.Key)
		k.mu.Unlock()
		s.dawdle(ctx, 100*time.Millisecond)
	}
}

// all reads a whole list.
func all[T any](s *site, path string) []T {
	s.t.Helper()
	var out []T
	cursor := ""
	for {
		var page struct {
			Items      []T     `json:"items"`
			NextCursor *string `json:"next_cursor"`
		}
		if err := s.must(s.ctx, "GET", path+"?limit=200"+cursor, "", nil, &page); err != nil {
			s.t.Fatal(err)
		}
		out = append(out, page.Items...)
		if page.NextCursor == nil {
			return out
		}
		cursor = "&cursor=" + *page.NextCursor
	}
}

// settled waits until every alert that was due is there, and none is on its way
// any more. A try that failed is made again up to a quarter of an hour later:
// once all others have come, the clock leaps over that. The service plans on while the list is read, so what
// came is told as it was just before: only that must be in the list.
func (s *site) settled(k *told) (alerts []alert, came map[string][]receipt) {
	s.t.Helper()
	expected := s.expected(k)
	for s.ctx.Err() == nil {
		s.leapInOrder()
		for s.ctx.Err() == nil {
			alerts, came = nil, s.receipts()
			for _, p := range k.projects {
				alerts = append(alerts, all[alert](s, "/v1/projects/"+p+"/alerts")...)
			}
			states := map[string]int{}
			for _, a := range alerts {
				states[a.State]++
			}
			missing := slices.ContainsFunc(expected, func(key string) bool {
				return !slices.ContainsFunc(alerts, func(a alert) bool { return a.Key == key })
			})
			if states["due"] == 0 && states["retrying"] == 0 && !missing {
				return alerts, came
			}
			if states["due"] == 0 && !missing {
				break
			}
			s.pass(s.ctx, 200*time.Millisecond)
		}
	}
	s.t.Fatalf("alerts are on their way still, or missing: %v have come, %q were expected", alerts, expected)
	return nil, nil
}

func (s *site) checkLog(k *told) {
	s.t.Helper()
	n := 0
	for _, p := range k.projects {
		seen := map[string]int{}
		for _, e := range all[struct {
			Text string `json:"text"`
		}](s, "/v1/projects/"+p+"/log") {
			seen[e.Text]++
			if seen[e.Text] > 1 {
				s.t.Errorf("%q is there %d times", e.Text, seen[e.Text])
			}
		}
		for _, text := range k.entries[p] {
			n++
			if seen[text] == 0 {
				s.t.Errorf("%q was accepted and is lost", text)
			}
		}
	}
	s.t.Logf("log_entries: %d entries", n)
	if n < *crashRounds {
		s.t.Errorf("only %d log entries over %d rounds tell little", n, *crashRounds)
	}
}

// inFlight is how far a kill may lie from the first receipt of what came
// twice, before and after it: as long as the job of one try may last.
const inFlight = 20 * time.Second

func (s *site) checkAlerts(k *told, alerts []alert, came map[string][]receipt) {
	s.t.Helper()
	kept := map[string]alert{}
	for _, a := range alerts {
		kept[a.Key] = a
	}
	for _, key := range append(k.tests, s.expected(k)...) {
		if _, ok := kept[key]; !ok {
			s.t.Errorf("%s was due and is nowhere", key)
		}
	}
	got := s.receipts()
	ids := map[string]bool{}
	counts := map[string]int{}
	for _, a := range alerts {
		id := notify.MessageID(a.Key)
		ids[id] = true
		counts[a.Kind+" "+a.State]++
		n := len(got[id])
		switch {
		case a.State == "sent" && n == 0:
			s.t.Errorf("%s is said to be sent, and never came", a.Key)
		case a.State == "failed" && (a.Reason == nil || *a.Reason == ""):
			s.t.Errorf("%s failed without a reason", a.Key)
		case n > a.Tries:
			s.t.Errorf("%s came %d times in %d tries", a.Key, n, a.Tries)
		}
	}
	for id := range came {
		if !ids[id] {
			s.t.Errorf("%s came, and no alert has that id", id)
		}
	}
	repeats := 0
	for id, rs := range got {
		for i := 1; i < len(rs); i++ {
			repeats++
			first, next := rs[i-1], rs[i]
			if first.body != next.body {
				s.t.Errorf("%s came twice with different words", id)
			}
			if !slices.ContainsFunc(s.kills, func(kill time.Time) bool {
				return kill.After(first.at.Add(-inFlight)) && kill.Before(first.at.Add(inFlight)) && kill.Before(next.at)
			}) {
				s.t.Errorf("%s came at %s and again at %s without a kill in flight", id, first.at, next.at)
			}
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for name, n := range map[string]int{"kills: %d kills": len(s.kills), "alerts: %d alerts": len(alerts), "alerts_repeated: %d alerts": repeats, "forecasts: %d forecasts": s.fetches} {
		s.t.Logf(name, n)
	}
	s.t.Logf("alerts by kind and outcome: %v", counts)
}

// expected are the keys of the evenings that passed while their recipients
// were there: one for each morning that follows.
func (s *site) expected(k *told) (keys []string) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		s.t.Fatal(err)
	}
	for evening := time.Date(2026, 6, 9, 19, 0, 0, 0, zone); evening.Before(s.now().Add(-25 * time.Minute)); evening = evening.AddDate(0, 0, 1) {
		date := evening.AddDate(0, 0, 1).Format(time.DateOnly)
		for _, p := range k.projects {
			if k.since[p].Before(evening) {
				for _, r := range k.recipients[p] {
					keys = append(keys, p+"/evening/"+date+"/"+r)
				}
			}
		}
	}
	return keys
}

// checkPlans wants every project planned from a forecast in the end, with no
// version missing. The service plans on while the versions are read.
func (s *site) checkPlans(k *told) {
	s.t.Helper()
	for _, p := range k.projects {
		var plan struct {
			Version int    `json:"version"`
			State   string `json:"state"`
		}
		// A request that died with its worker counts against the feed for a
		// while, so that the first forecast may be waited for.
		for plan.Version == 0 {
			if err := s.must(s.ctx, "GET", "/v1/projects/"+p+"/plan", "", nil, &plan); err != nil {
				s.t.Fatal(err)
			}
			s.pass(s.ctx, 50*time.Millisecond)
		}
		seen := map[int]int{}
		for _, v := range all[struct {
			Version int `json:"version"`
		}](s, "/v1/projects/"+p+"/plans") {
			seen[v.Version]++
		}
		if plan.State != "open" || len(seen) < plan.Version {
			s.t.Errorf("%s: version %d, %s, %d versions kept", p, plan.Version, plan.State, len(seen))
		}
		for v := range len(seen) {
			if seen[v+1] != 1 {
				s.t.Errorf("%s: version %d is kept %d times", p, v+1, seen[v+1])
			}
		}
	}
}
