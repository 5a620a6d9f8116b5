package app_test

import (
	"context"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// victim is what a round kills.
type victim string

const (
	both      victim = "both" // and they are away for a while
	one       victim = "one"  // the other works on
	database  victim = "database"
	pooler    victim = "pooler" // that the worker's connections go through
	migration victim = "migration"
	primary   victim = "primary" // of two; its standby takes its place
)

// rota is what rounds kill in turn.
var rota = []victim{both, database, one, both, pooler, one, both, migration, database, one}

// round kills something at a random moment, and sees to it that it comes back.
func (s *site) round(round int) {
	s.t.Helper()
	what := rota[round%len(rota)]
	if round%2 == 0 || what == database || what == pooler {
		s.await("api") // they die at work, however slow the machine; else as they come, starting up too
		s.await("worker")
	}
	s.pass(s.ctx, 100*time.Millisecond+s.upTo(1400*time.Millisecond))
	killed := time.Now()
	switch what {
	case both:
		s.killAll(syscall.SIGKILL)
		s.ahead(20*time.Minute + s.upTo(100*time.Minute)) // what is due for an hour is missed now and then
		s.start("api")
		s.start("worker")
	case one:
		name := []string{"api", "worker"}[s.upTo(2)]
		_ = s.kill(name, syscall.SIGKILL)
		s.start(name)
	case database:
		s.noteKill()
		s.outage = killed
		s.cluster.KillServer()
	case pooler:
		s.noteKill()
		s.outage = killed
		s.cluster.KillPooler()
	case migration:
		s.killMigration(round)
		return
	}
	if round%2 == 0 || what == database {
		s.answersAgain(what, killed)
	}
}

// excused reports whether a command may have ended by itself: one that starts up
// while the database is away says so and ends, and its supervisor starts it again.
func (s *site) excused() bool { return time.Since(s.outage) < 20*time.Second }

func (s *site) noteKill() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.kills = append(s.kills, time.Now())
}

// answersAgain waits until the API answers a question that needs the database, and
// notes how long it took from the kill on.
func (s *site) answersAgain(what victim, killed time.Time) {
	s.t.Helper()
	s.await("api")
	if err := s.must(s.ctx, "GET", "/v1/projects?limit=1", "", nil, nil); err != nil {
		s.t.Errorf("after killing %s: %v", what, err)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.away[what] = append(s.away[what], time.Since(killed))
}

// logAway prints how long it took to answer again, under a name.
func (s *site) logAway(name string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []time.Duration
	for what, took := range s.away {
		all = append(all, took...)
		slices.Sort(took)
		s.t.Logf("%s killed: answers again after %v, at most %v", what, took[len(took)/2], took[len(took)-1])
	}
	if len(all) == 0 {
		return
	}
	slices.Sort(all)
	s.t.Logf("%s_p50: %d ms", name, all[len(all)/2].Milliseconds())
	s.t.Logf("%s_p99: %d ms", name, all[len(all)*99/100].Milliseconds())
}

// killMigration kills a migration of a database of its own at a random moment, and
// wants the next one to bring it up to date.
func (s *site) killMigration(round int) {
	s.t.Helper()
	name := "migrated" + strconv.Itoa(round)
	db := s.cluster.Database()
	owner, err := url.Parse(db.OwnerURL)
	if err != nil {
		s.t.Fatal(err)
	}
	s.sql(`create database ` + name + ` owner ` + owner.User.Username())
	env := slices.Clone(s.env)
	for _, x := range [...]struct{ key, url string }{{"DATABASE_URL", db.ServiceURL}, {"DATABASE_MIGRATE_URL",
		db.OwnerURL}} {
		u, err := url.Parse(x.url)
		if err != nil {
			s.t.Fatal(err)
		}
		u.Path = "/" + name
		env = append(env, x.key+"="+u.String())
	}
	migrate := func() *exec.Cmd {
		cmd := exec.Command(filepath.Join(s.dir, "api"), "migrate")
		cmd.Env, cmd.Dir, cmd.Stdout, cmd.Stderr = env, s.dir, s.log, s.log
		return cmd
	}
	cmd := migrate()
	if err := cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	s.pass(s.ctx, s.upTo(600*time.Millisecond))
	s.noteKill()
	_ = cmd.Process.Signal(os.Kill) // it may have ended
	_ = cmd.Wait()
	if err := migrate().Run(); err != nil {
		s.t.Errorf("a migration after one that was killed: %v", err)
	}
	s.migrations++
	s.sql(`drop database ` + name + ` with (force)`)
}

// sql runs a statement as the server's superuser.
func (s *site) sql(statement string) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.ctx, time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, s.cluster.AdminURL("postgres"))
	if err != nil {
		s.t.Fatal(err)
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, statement); err != nil {
		s.t.Fatal(err)
	}
}
