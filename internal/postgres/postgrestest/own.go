package postgrestest

import (
	"context"
	"net/url"
	"os"
	"syscall"
	"testing"
	"time"

	"dryslot/internal/postgres"
	"dryslot/internal/postgres/local"
)

// Cluster is a PostgreSQL server of one test's own, with a PgBouncer before it.
// Both may be killed, and start again on what they have written: unlike the
// server that tests share, it keeps what was committed.
type Cluster struct {
	t      testing.TB
	dir    string
	server *local.Server
	pooler *Pooler
}

// Own starts a migrated cluster, which ends with the test.
func Own(t testing.TB) *Cluster {
	t.Helper()
	dir, err := os.MkdirTemp("", "dryslot-own-")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o711); err != nil { // the server's user has to pass when the tests run as root
		t.Fatal(err)
	}
	c := &Cluster{t: t, dir: dir}
	c.startServer()
	t.Cleanup(c.end)
	if err := postgres.Migrate(context.Background(), c.server.MigrateURL(), c.server.ServiceRole()); err != nil {
		t.Fatal(err)
	}
	if c.pooler, err = newPooler(c.server.URL(), c.server.PID()); err != nil {
		t.Fatal(err)
	}
	if err := c.pooler.start(); err != nil {
		t.Fatal(err)
	}
	return c
}

func (c *Cluster) startServer() {
	c.t.Helper()
	s, err := local.Start(context.Background(), local.Options{DataDir: c.dir, Spare: c.dir})
	if err != nil {
		c.t.Fatal(err)
	}
	c.server = s
}

func (c *Cluster) end() {
	if c.pooler != nil {
		if err := c.pooler.kill(); err != nil {
			c.t.Error(err)
		}
		_ = os.RemoveAll(c.pooler.dir)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := c.server.Stop(ctx); err != nil {
		c.t.Error(err)
	}
	_ = os.RemoveAll(c.dir)
}

// Database returns the connections of its database.
func (c *Cluster) Database() Database {
	return Database{ServiceURL: c.server.URL(), OwnerURL: c.server.MigrateURL()}
}

// Pooled returns the service's connection through PgBouncer.
func (c *Cluster) Pooled() string {
	u, err := url.Parse(c.server.URL())
	if err != nil {
		c.t.Fatal(err)
	}
	q := u.Query()
	q.Set("host", c.pooler.dir)
	q.Set("port", poolerPort)
	q.Set("default_query_exec_mode", "exec")
	u.RawQuery = q.Encode()
	return u.String()
}

// AdminURL is the superuser's connection to a database of the server.
func (c *Cluster) AdminURL(db string) string { return c.server.AdminURL(db) }

// KillServer ends the server by SIGKILL, and starts it again.
func (c *Cluster) KillServer() {
	c.t.Helper()
	if err := syscall.Kill(c.server.PID(), syscall.SIGKILL); err != nil {
		c.t.Fatal(err)
	}
	<-c.server.Done()
	if err := c.server.Stop(context.Background()); err != nil { // it has ended: this gives the folder back
		c.t.Fatal(err)
	}
	c.startServer()
}

// KillPooler ends PgBouncer by SIGKILL, and starts it again.
func (c *Cluster) KillPooler() {
	c.t.Helper()
	if err := c.pooler.kill(); err != nil {
		c.t.Fatal(err)
	}
	if err := c.pooler.start(); err != nil {
		c.t.Fatal(err)
	}
}
