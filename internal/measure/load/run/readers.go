package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// readEvery is how often somebody reads tomorrow's morning while the workers
// plan: 100,000 builders who look some nine times a day.
const readEvery = 100 * time.Millisecond

// readers read what builders read, of a project at random each time, through
// the API in a process of its own.
type readers struct {
	base     string
	accounts []account
	pid      int // of the API
	stopped  context.CancelFunc
	reading  sync.WaitGroup

	mu    sync.Mutex
	took  []time.Duration
	wrong map[string]int // answers that are none, by what they are
}

// startReaders starts the API and begins to read.
func startReaders(ctx context.Context, procs *children, dir string, env []string,
	accounts []account) (*readers, error) {
	out, line, err := procs.start(ctx, dir, "api", append(env, "DRYSLOT_LISTEN=127.0.0.1:0", "DRYSLOT_WORKER=off"),
		"serve")
	if err != nil {
		return nil, err
	}
	go func() { _, _ = io.Copy(io.Discard, out) }() // it says nothing else that is wanted
	_, base, found := strings.Cut(line, "listening on ")
	if !found {
		return nil, fmt.Errorf("the API says %q", line)
	}
	ctx, cancel := context.WithCancel(ctx)
	r := &readers{base: base, accounts: accounts, pid: procs.all[len(procs.all)-1].Process.Pid, stopped: cancel,
		wrong: map[string]int{}}
	r.reading.Go(func() {
		ticker := time.NewTicker(readEvery)
		defer ticker.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-ticker.C:
				r.reading.Go(func() { r.read(ctx) })
			}
		}
	})
	return r, nil
}

func (r *readers) read(ctx context.Context) {
	n := rand.IntN(len(r.accounts))
	a := r.accounts[n]
	req, err := http.NewRequestWithContext(ctx, http.MethodGet,
		r.base+"/v1/projects/"+a.projects[rand.IntN(len(a.projects))]+"/mornings/tomorrow", nil)
	if err != nil {
		r.note(0, err)
		return
	}
	req.Header.Set("Authorization", "Bearer "+tokenOf(n))
	begun := time.Now()
	resp, err := http.DefaultClient.Do(req)
	if err == nil {
		_, err = io.Copy(io.Discard, resp.Body)
		resp.Body.Close()
		if err == nil && resp.StatusCode != http.StatusOK {
			err = errors.New(resp.Status)
		}
	}
	if ctx.Err() == nil {
		r.note(time.Since(begun), err)
	}
}

func (r *readers) note(took time.Duration, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err != nil {
		r.wrong[err.Error()]++
		return
	}
	r.took = append(r.took, took)
}

// stop ends the reading, and returns the API's highest memory in MB.
func (r *readers) stop() (memory float64, err error) {
	r.stopped()
	r.reading.Wait()
	slices.Sort(r.took)
	b, err := os.ReadFile("/proc/" + strconv.Itoa(r.pid) + "/status")
	if err != nil {
		return 0, err
	}
	_, peak, _ := strings.Cut(string(b), "VmHWM:") // in kB (proc(5))
	if _, err := fmt.Sscan(peak, &memory); err != nil {
		return 0, fmt.Errorf("the API's memory: %w", err)
	}
	return memory / 1024, nil
}

func (r *readers) print(memory float64) {
	fmt.Printf("reads_beside: %d requests\n", len(r.took))
	if n := len(r.took); n > 0 {
		fmt.Printf("reads_p50: %.1f ms\n", 1000*r.took[n/2].Seconds())
		fmt.Printf("reads_p99: %.1f ms\n", 1000*r.took[n*99/100].Seconds())
	}
	for what, n := range r.wrong {
		fmt.Printf("%d reads went wrong: %s\n", n, what)
	}
	fmt.Printf("api_memory_peak: %.0f MB\n", memory)
}
