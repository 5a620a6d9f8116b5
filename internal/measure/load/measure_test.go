package load_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// atOnce is how many connections read at a time.
const atOnce = 16

func listen(ctx context.Context) (net.Listener, error) {
	return (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
}

// reading is one request, sent again and again.
type reading struct {
	name, host, request string
	status              int
	process, postmaster int
}

// taken is what a round of a load took: requests a second, and s.
type taken struct{ rate, process, postgres, p99 float64 }

// cpu is what a request took of the process and of PostgreSQL.
func (t taken) cpu() float64 { return t.process + t.postgres }

// run sends the request over all connections for a while. The client is as
// lean as can be: what it costs is the same for all that are compared, and
// would hide what tells them apart.
func (l reading) run(b *testing.B, length time.Duration) taken {
	b.Helper()
	process, postgres := l.cpu(b)
	begun := time.Now()
	var mu sync.Mutex
	var all []time.Duration
	var wrong error
	var clients sync.WaitGroup
	for range atOnce {
		clients.Go(func() {
			mine, err := l.send(begun.Add(length))
			mu.Lock()
			defer mu.Unlock()
			all = append(all, mine...)
			if err != nil {
				wrong = err
			}
		})
	}
	clients.Wait()
	lasted := time.Since(begun)
	if wrong != nil || len(all) == 0 {
		b.Fatalf("%s: %d requests, %v", l.request, len(all), wrong)
	}
	slices.Sort(all)
	n := float64(len(all))
	processNow, postgresNow := l.cpu(b)
	return taken{rate: n / lasted.Seconds(), process: (processNow - process) / n,
		postgres: (postgresNow - postgres) / n, p99: all[len(all)*99/100].Seconds()}
}

func (l reading) send(until time.Time) (took []time.Duration, err error) {
	c, err := net.Dial("tcp", l.host)
	if err != nil {
		return nil, err
	}
	defer c.Close()
	r := bufio.NewReaderSize(c, 64<<10)
	for now := time.Now(); now.Before(until); {
		if _, err := io.WriteString(c, l.request); err != nil {
			return nil, err
		}
		a, err := readAnswer(r, nil)
		if err != nil {
			return nil, err
		}
		if a.status != l.status {
			return nil, fmt.Errorf("answered %d", a.status)
		}
		then := time.Now()
		took = append(took, then.Sub(now))
		now = then
	}
	return took, nil
}

type answer struct {
	status    int
	tag, body string
}

// readAnswer reads one answer; its body is written to keep, unless that is nil.
func readAnswer(r *bufio.Reader, keep io.Writer) (a answer, err error) {
	length, chunked := 0, false
	for {
		line, err := r.ReadSlice('\n')
		if err != nil {
			return a, err
		}
		line = bytes.TrimRight(line, "\r\n")
		if len(line) == 0 {
			break
		}
		if a.status == 0 {
			if a.status, err = strconv.Atoi(string(bytes.Fields(line)[1])); err != nil {
				return a, err
			}
			continue
		}
		name, value, _ := bytes.Cut(line, []byte(": "))
		switch string(name) {
		case "Content-Length":
			if length, err = strconv.Atoi(string(value)); err != nil {
				return a, err
			}
		case "Transfer-Encoding":
			chunked = true
		case "Etag":
			a.tag = string(value)
		}
	}
	if keep == nil {
		keep = io.Discard
	}
	for chunked {
		line, err := r.ReadSlice('\n')
		if err != nil {
			return a, err
		}
		n, err := strconv.ParseInt(string(bytes.TrimSpace(line)), 16, 64)
		if err != nil {
			return a, err
		}
		if _, err = io.CopyN(keep, r, n); err == nil {
			_, err = r.Discard(2)
		}
		if err != nil || n == 0 {
			return a, err
		}
	}
	if keep == io.Discard {
		_, err = r.Discard(length)
		return a, err
	}
	_, err = io.CopyN(keep, r, int64(length))
	return a, err
}

// one sends a request once and returns the answer with its body.
func one(b *testing.B, host, request string) answer {
	b.Helper()
	c, err := net.Dial("tcp", host)
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	var body bytes.Buffer
	_, err = io.WriteString(c, request)
	var a answer
	if err == nil {
		a, err = readAnswer(bufio.NewReader(c), &body)
	}
	if err != nil || a.status != 200 {
		b.Fatalf("%s: %d %v", request, a.status, err)
	}
	a.body = body.String()
	return a
}

// stat is the fields of a process after its name (proc(5), /proc/pid/stat).
func stat(pid string) []string {
	b, err := os.ReadFile(filepath.Join("/proc", pid, "stat"))
	if err != nil {
		return nil // it has ended
	}
	return strings.Fields(string(b[bytes.LastIndexByte(b, ')')+1:]))
}

func parentOf(b *testing.B, pid int) int {
	b.Helper()
	ppid, err := strconv.Atoi(stat(strconv.Itoa(pid))[1])
	if err != nil {
		b.Fatal(err)
	}
	return ppid
}

// cpu is what the process, and PostgreSQL with all its processes, have taken, in s.
func (l reading) cpu(b *testing.B) (process, postgres float64) {
	b.Helper()
	const ticks = 100 // a second: USER_HZ on Linux
	entries, err := os.ReadDir("/proc")
	if err != nil {
		b.Fatal(err)
	}
	own, postmaster := strconv.Itoa(l.process), strconv.Itoa(l.postmaster)
	for _, e := range entries {
		if e.Name()[0] < '0' || e.Name()[0] > '9' {
			continue
		}
		s := stat(e.Name())
		if len(s) < 15 || e.Name() != own && e.Name() != postmaster && s[1] != postmaster {
			continue
		}
		user, err := strconv.Atoi(s[11])
		system, further := strconv.Atoi(s[12])
		if err = errors.Join(err, further); err != nil {
			b.Fatal(err)
		}
		if took := float64(user+system) / ticks; e.Name() == own {
			process += took
		} else {
			postgres += took
		}
	}
	return process, postgres
}
