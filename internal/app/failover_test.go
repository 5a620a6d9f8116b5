package app_test

import (
	"context"
	"flag"
	"sync"
	"testing"
	"time"

	"dryslot/internal/postgres/postgrestest"
)

var failovers = flag.Int("crash.failovers", 0, "how often the primary is killed and its standby takes its place; "+
	"0: the test is left out")

// TestNothingAcceptedIsLostAtAFailover kills the primary of two PostgreSQL while
// entries and alerts are taken, has its standby take its place, and gives that one a
// standby of its own. The API and the worker find the new primary by themselves. What
// was accepted is there afterwards, once.
func TestNothingAcceptedIsLostAtAFailover(t *testing.T) {
	if *failovers == 0 {
		t.Skip("-crash.failovers says how often: `make crash` does")
	}
	pair := postgrestest.OwnPair(t)
	s := newSiteOver(t, *crashSeed, pair.Database())
	s.start("api")
	s.start("worker")
	k := &told{entries: map[string][]string{}, recipients: map[string][]string{}, since: map[string]time.Time{},
		work: map[string]*work{}}
	for i := range 2 {
		s.newProject(k, i)
	}
	asking, stopAsking := context.WithCancel(s.ctx)
	var askers sync.WaitGroup
	askers.Go(func() { s.keepLogging(asking, k) })
	askers.Go(func() { s.keepTesting(asking, k) })
	for range *failovers {
		before := k.accepted()
		for k.accepted() < before+3 && s.ctx.Err() == nil { // it fails at work
			s.pass(s.ctx, 20*time.Millisecond)
		}
		s.pass(s.ctx, s.upTo(time.Second))
		killed := time.Now()
		s.noteKill()
		pair.Fail()
		s.answersAgain(primary, killed)
		pair.AddStandby()
	}
	stopAsking()
	askers.Wait()
	alerts, _ := s.settled(k)
	came := s.receipts() // what is said to be sent came before
	s.checkLog(k, 3**failovers)
	kept := map[string]string{}
	for _, a := range alerts {
		kept[a.Key] = a.State
	}
	for _, key := range k.tests {
		if kept[key] == "" || kept[key] == "sent" && len(came[idOf(key)]) == 0 {
			t.Errorf("the alert %s is %q, and came %d times", key, kept[key], len(came[idOf(key)]))
		}
	}
	t.Logf("failovers: %d failovers", *failovers)
	s.logAway("failover_answers_again")
}
