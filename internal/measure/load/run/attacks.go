package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"
)

// How much of everything is thrown at the service, beside o.projects projects.
const (
	tokensAProject     = 10 // bad tokens, for each project of the run
	recipientsOfAll    = 10 // one recipient, with a webhook that stalls, for so many projects
	mostBody           = 64 << 20
	slowConnections    = 200
	slowFor            = 15 * time.Second
	bombs              = 50
	bombMB             = 256
	attackersAtATime   = 8
	attackersOfTheRest = 2
)

// attacks are what the attacker does at the same time.
func (a *abuse) attacks() []func(context.Context) error {
	return []func(context.Context) error{a.badTokens, a.manyProjects, a.stalledWebhooks, a.endlessBody, a.slowHeaders,
		a.gzipBombs}
}

// answered counts an answer; what may not be answered so is an error.
func (a *abuse) answered(what string, status int, may ...int) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.refused[what] == nil {
		a.refused[what] = map[int]int{}
	}
	a.refused[what][status]++
	for _, m := range may {
		if status == m {
			return nil
		}
	}
	return fmt.Errorf("%s: answered with %d", what, status)
}

// badTokens tries tokens that open nothing.
func (a *abuse) badTokens(ctx context.Context) error {
	work, ctx := errgroup.WithContext(ctx)
	work.SetLimit(attackersAtATime)
	for i := range tokensAProject * a.o.projects {
		work.Go(func() error {
			token := fmt.Sprintf("a token that opens nothing, number %08d", i)
			status, _, err := a.ask(ctx, a.attacker, http.MethodGet, "/v1/projects", token, nil)
			if err != nil {
				return err
			}
			return a.answered("bad tokens", status, http.StatusUnauthorized, http.StatusTooManyRequests)
		})
	}
	return work.Wait()
}

// manyProjects makes projects as fast as they are taken.
func (a *abuse) manyProjects(ctx context.Context) error {
	work, ctx := errgroup.WithContext(ctx)
	work.SetLimit(attackersOfTheRest)
	for i := range a.o.projects {
		work.Go(func() error {
			status, _, err := a.ask(ctx, a.attacker, http.MethodPost, "/v1/projects", attackersToken,
				specOf(i, 0, [2]float64{44 + float64(i%100)/10, 9}))
			if err != nil {
				return err
			}
			return a.answered("many projects", status, http.StatusCreated, http.StatusTooManyRequests,
				http.StatusUnprocessableEntity)
		})
	}
	return work.Wait()
}

// stalledWebhooks adds webhooks that never answer, and asks for an alert at each.
func (a *abuse) stalledWebhooks(ctx context.Context) error {
	for i := range max(3, a.o.projects/recipientsOfAll) {
		path := "/v1/projects/" + a.wasted + "/recipients"
		id, err := a.recipient(ctx, a.attacker, attackersToken, a.wasted, fmt.Sprintf("%s/%d", a.stalled, i))
		if err != nil {
			if err := a.answered("stalled webhooks", http.StatusTooManyRequests,
				http.StatusTooManyRequests); err != nil {
				return err
			}
			continue // its quota or its limit: the answer says so
		}
		status, _, err := a.ask(ctx, a.attacker, http.MethodPost, path+"/"+id+"/test", attackersToken, nil)
		if err != nil {
			return err
		}
		if err := a.answered("stalled webhooks", status, http.StatusAccepted, http.StatusOK, http.StatusCreated,
			http.StatusTooManyRequests); err != nil {
			return err
		}
	}
	return nil
}

// counted is a body without end, and counts what was taken of it.
type counted struct{ n atomic.Int64 }

func (c *counted) Read(b []byte) (int, error) {
	if c.n.Load() > mostBody {
		return 0, errors.New("it is taken without end")
	}
	for i := range b {
		b[i] = ' '
	}
	c.n.Add(int64(len(b)))
	return len(b), nil
}

// endlessBody sends a body that does not end: it has to be refused long before
// mostBody of it is sent.
func (a *abuse) endlessBody(ctx context.Context) error {
	body := &counted{}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, a.base+"/v1/projects", body)
	if err != nil {
		return err
	}
	req.Header.Set("Authorization", "Bearer "+attackersToken)
	req.Header.Set("Content-Type", "application/json")
	resp, err := a.attacker.Do(req)
	fmt.Printf("endless_body_taken: %.1f MB\n", float64(body.n.Load())/(1<<20))
	switch {
	case body.n.Load() > mostBody:
		return errors.New("a body without end is taken")
	case err != nil: // cut off
		return a.answered("endless body", 0, 0)
	}
	defer resp.Body.Close()
	return a.answered("endless body", resp.StatusCode, http.StatusRequestEntityTooLarge, http.StatusTooManyRequests)
}

// slowHeaders opens connections on which headers come a byte at a time: they have
// to be closed.
func (a *abuse) slowHeaders(ctx context.Context) error {
	d := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(attackerAt)}}
	work, ctx := errgroup.WithContext(ctx)
	var open atomic.Int64
	for range min(slowConnections, a.o.projects) {
		work.Go(func() error {
			c, err := d.DialContext(ctx, "tcp", strings.TrimPrefix(a.base, "http://"))
			if err != nil {
				return err
			}
			defer c.Close()
			tick := time.NewTicker(time.Second)
			defer tick.Stop()
			end := time.After(slowFor)
			for _, b := range []byte("GET / HTTP/1.1\r\nHost: pads.example\r\nX: 1\r\n") {
				if _, err := c.Write([]byte{b}); err != nil {
					return nil // closed by the service
				}
				select {
				case <-tick.C:
				case <-end:
					// What the service has closed ends, or answers that it took too long.
					_ = c.SetReadDeadline(time.Now().Add(time.Second))
					if _, err := bufio.NewReader(c).ReadByte(); errors.Is(err, io.EOF) || err == nil {
						return nil
					}
					open.Add(1)
					return nil
				case <-ctx.Done():
					return ctx.Err()
				}
			}
			return nil
		})
	}
	err := work.Wait()
	if n := open.Load(); n > 0 {
		err = errors.Join(err, fmt.Errorf("%d connections without headers are open after %s", n, slowFor))
	}
	return err
}

// gzipBombs sends bodies that unpack to a thousand times their size.
func (a *abuse) gzipBombs(ctx context.Context) error {
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	for range bombMB {
		if _, err := w.Write(make([]byte, 1<<20)); err != nil {
			return err
		}
	}
	if err := w.Close(); err != nil {
		return err
	}
	for range min(bombs, a.o.projects) {
		req, err := http.NewRequestWithContext(ctx, http.MethodPost, a.base+"/v1/projects",
			bytes.NewReader(packed.Bytes()))
		if err != nil {
			return err
		}
		req.Header.Set("Authorization", "Bearer "+attackersToken)
		req.Header.Set("Content-Type", "application/json")
		req.Header.Set("Content-Encoding", "gzip")
		resp, err := a.attacker.Do(req)
		if err != nil {
			continue // cut off
		}
		_, _ = io.Copy(io.Discard, resp.Body)
		resp.Body.Close()
		if err := a.answered("gzip bombs", resp.StatusCode, http.StatusBadRequest, http.StatusRequestEntityTooLarge,
			http.StatusUnsupportedMediaType, http.StatusUnprocessableEntity, http.StatusTooManyRequests); err != nil {
			return err
		}
	}
	return nil
}
