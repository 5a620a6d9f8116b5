package app_test

import (
	"context"
	"flag"
	"fmt"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"
)

var (
	crashRounds = flag.Int("crash.rounds", len(rota), "how often something is killed")
	crashSeed   = flag.Uint64("crash.seed", 1, "of the moments at which it is")
)

// told is what the test was told that the service keeps.
type told struct {
	mu         sync.Mutex
	entries    map[string][]string // texts of accepted log entries, by project
	tests      []string            // keys of accepted test alerts
	projects   []string
	recipients map[string][]string // by project
	since      map[string]time.Time
	work       map[string]*work // by project
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
// or both, their PostgreSQL, its PgBouncer, or a migration, at random moments
// while they fetch, plan, take entries and alert, and starts them again.
// Afterwards every accepted log entry is there once, every alert that was due
// reached its far end or is failed with its reason, and what came twice carries
// the same id and follows a try in flight at a kill.
func TestNothingIsLostUnderSIGKILL(t *testing.T) {
	s := newSite(t, *crashSeed)
	ctx := s.ctx
	s.start("api")
	s.start("worker")
	k := &told{entries: map[string][]string{}, recipients: map[string][]string{}, since: map[string]time.Time{},
		work: map[string]*work{}}
	for i := range climates {
		s.newProject(k, int(i))
	}
	asking, stopAsking := context.WithCancel(ctx)
	var askers sync.WaitGroup
	askers.Go(func() { s.keepLogging(asking, k) })
	askers.Go(func() { s.keepBuilding(asking, k) })
	askers.Go(func() { s.keepTesting(asking, k) })
	for round := range *crashRounds {
		s.round(round)
		if every := max(10, *crashRounds/20); round%every == every-1 {
			s.newProject(k, 10+round/every)
		}
	}
	for k.accepted() < *crashRounds && ctx.Err() == nil { // fewer would tell little
		s.pass(ctx, 50*time.Millisecond)
	}
	stopAsking()
	askers.Wait()
	alerts, came := s.settled(k)
	s.checkLog(k, *crashRounds)
	s.checkAlerts(k, alerts, came)
	s.checkPlans(k)
	s.logAway("answers_again")
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
		err := s.must(ctx, "POST", "/v1/projects/"+project+"/recipients/"+recipient+"/test", "test"+strconv.Itoa(n),
			nil, &a)
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
// once all others have come, the clock leaps over that, and over the quiet time,
// until whose end alerts may wait. The service plans on while the list is read, so what
// came is told as it was just before: only that must be in the list.
func (s *site) settled(k *told) (alerts []alert, came map[string][]receipt) {
	s.t.Helper()
	expected := s.expected(k)
	if now := s.now().In(s.zone); now.Hour() < 5 { // alerts are quiet until half past four
		s.ahead(time.Duration(5-now.Hour()) * time.Hour)
	}
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

// checkLog wants every accepted entry there once, and at least so many of them.
func (s *site) checkLog(k *told, least int) {
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
	if n < least {
		s.t.Errorf("only %d log entries, want %d, tell little", n, least)
	}
}

// manyRounds take days of the service's clock, so that each kind of alert has to
// come.
const manyRounds = 500

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
	counts := map[string]int{}
	type occasion struct{ deliveries, sent, tries int }
	occasions := map[string]*occasion{} // by the id that its messages carry
	for _, a := range alerts {
		id := idOf(a.Key)
		if occasions[id] == nil {
			occasions[id] = &occasion{}
		}
		o := occasions[id]
		o.deliveries++
		o.tries += a.Tries
		counts[a.Kind+" "+a.State]++
		if a.State == "sent" {
			o.sent++
		}
		if a.State == "failed" && (a.Reason == nil || *a.Reason == "") {
			s.t.Errorf("%s failed without a reason", a.Key)
		}
	}
	for _, a := range alerts {
		switch id := idOf(a.Key); {
		case len(got[id]) < occasions[id].sent:
			s.t.Errorf("%s: %d are said to be sent, and %d came", a.Key, occasions[id].sent, len(got[id]))
		case len(came[id]) > occasions[id].tries: // what came later may be of a later delivery
			s.t.Errorf("%s came %d times in %d tries", a.Key, len(came[id]), occasions[id].tries)
		}
	}
	for id := range came {
		if occasions[id] == nil {
			s.t.Errorf("%s came, and no alert has that id", id)
		}
	}
	repeats := 0
	for id, rs := range came {
		// by the words: an occasion that nobody answers is told of again, in words of its own
		last := map[string]receipt{}
		for _, next := range rs {
			first, again := last[next.body]
			last[next.body] = next
			if !again {
				continue
			}
			repeats++
			if !slices.ContainsFunc(s.kills, func(kill time.Time) bool {
				return kill.After(first.at.Add(-inFlight)) && kill.Before(first.at.Add(inFlight)) &&
					kill.Before(next.at)
			}) {
				s.t.Errorf("%s came at %s and again at %s without a kill in flight", id, first.at, next.at)
			}
		}
		if o := occasions[id]; o != nil && len(last) > o.deliveries {
			s.t.Errorf("%s came in %d different words for %d deliveries", id, len(last), o.deliveries)
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for name, n := range map[string]int{"kills: %d kills": len(s.kills), "alerts: %d alerts": len(alerts),
		"alerts_repeated: %d alerts": repeats, "forecasts: %d forecasts": s.fetches,
		"migrations_killed: %d kills": s.migrations} {
		s.t.Logf(name, n)
	}
	s.t.Logf("alerts by kind and outcome: %v", counts)
	told := s.toldBy(got)
	s.t.Logf("told by webhook: %v", told)
	for _, kind := range kindsInPlay {
		if *crashRounds >= manyRounds && told[kind] == 0 {
			s.t.Errorf("no %s was ever due", kind)
		}
	}
}

// expected are the keys of the evenings that passed while their recipients and a
// plan were there: one for each morning that follows. The first forecast of a place
// may be long in coming, since a request that dies with its worker counts against the
// feed; until then there is nothing to tell.
func (s *site) expected(k *told) (keys []string) {
	since := map[string]time.Time{}
	for _, p := range k.projects {
		since[p] = s.now()
		for _, v := range all[version](s, "/v1/projects/"+p+"/plans") {
			if v.MadeAt.Before(since[p]) {
				since[p] = v.MadeAt
			}
		}
		if k.since[p].After(since[p]) {
			since[p] = k.since[p]
		}
	}
	for evening := time.Date(2026, 6, 9, 19, 0, 0, 0,
		s.zone); evening.Before(s.now().Add(-25 * time.Minute)); evening = evening.AddDate(0, 0, 1) {
		date := evening.AddDate(0, 0, 1).Format(time.DateOnly)
		for _, p := range k.projects {
			if since[p].Before(evening) {
				for _, r := range k.recipients[p] {
					keys = append(keys, p+"/evening/"+date+"/"+r)
				}
			}
		}
	}
	return keys
}

// checkPlans wants every project planned from a forecast in the end, with no
// version of the last days missing. The service plans on while the versions are read.
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
		kept := all[version](s, "/v1/projects/"+p+"/plans") // the newest first
		if plan.State != "open" || len(kept) == 0 || kept[0].Version < plan.Version {
			s.t.Errorf("%s: version %d, %s, %d versions kept", p, plan.Version, plan.State, len(kept))
		}
		for i, v := range kept {
			next := 0 // before the first
			if i+1 < len(kept) {
				next = kept[i+1].Version
			}
			if next >= v.Version || next != v.Version-1 && v.MadeAt.After(s.now().Add(-allKept)) {
				s.t.Errorf("%s: version %d is followed by %d", p, v.Version, next)
			}
		}
	}
}

// version is one of a project's plans.
type version struct {
	Version int       `json:"version"`
	MadeAt  time.Time `json:"made_at"`
}

// allKept is for how long each plan is kept, but for the day that the run may last:
// of days before, the last one of each.
const allKept = 6 * 24 * time.Hour
