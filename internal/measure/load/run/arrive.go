package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"dryslot/internal/measure/load"
	"dryslot/internal/notify"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
)

// begin has a project's first pad placed just now, and a webhook told of its day.
func begin(ctx context.Context, tx *postgres.AccountTx, p pour.Project, hooks string, now time.Time) error {
	_, err := tx.AddRecipient(ctx, notify.Recipient{Project: p.ID, Kind: notify.Webhook, Address: hooks,
		Secret: "whsec_" + base64.StdEncoding.EncodeToString(make([]byte, 24)), CreatedAt: now})
	if err != nil {
		return err
	}
	first := p.Pads[0].Name
	_, err = tx.AppendLog(ctx, p.ID, pour.LogEntry{Kind: pour.EntryPlaced, Pad: first, Pads: []string{first},
		At: now.Add(-time.Minute), RecordedAt: now,
		SetTimes: []pour.SetTime{{Pad: first, InitialMin: 240, FinalMin: 330, Known: true}}})
	return err
}

// hooked takes the alerts, and notes when the first about rain came of each
// project.
func (l *latency) hooked(w http.ResponseWriter, r *http.Request) {
	at := time.Now()
	var got struct {
		Data struct {
			Project string   `json:"project_id"`
			Kinds   []string `json:"kinds"`
		} `json:"data"`
	}
	if err := json.NewDecoder(r.Body).Decode(&got); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if _, ok := l.arrived[got.Data.Project]; !ok && slices.Contains(got.Data.Kinds, "rain") {
		l.arrived[got.Data.Project] = at
		l.news <- struct{}{}
	}
}

// await waits for so many more first messages about rain.
func (l *latency) await(ctx context.Context, n int) error {
	ctx, cancel := context.WithTimeout(ctx, l.o.within)
	defer cancel()
	for i := range n {
		select {
		case <-l.news:
		case err := <-l.procs.failed:
			return err
		case <-ctx.Done():
			why := l.missing(context.WithoutCancel(ctx))
			return fmt.Errorf("%d of %d messages have come: %w\n%s", i, n, ctx.Err(), why)
		}
	}
	return nil
}

// mostMissing is how many projects without a message are told of.
const mostMissing = 10

// missing tells what the service advises now in projects without a message.
func (l *latency) missing(ctx context.Context) string {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	var out strings.Builder
	n := 0
	for i, a := range l.accounts {
		for _, p := range a.projects {
			l.mu.Lock()
			_, came := l.arrived[p]
			l.mu.Unlock()
			if came || n == mostMissing {
				continue
			}
			n++
			out.WriteString(l.stateOf(ctx, tokenOf(i), p))
		}
	}
	return out.String()
}

// stateOf tells in short what is advised in a project, and by what weather.
func (l *latency) stateOf(ctx context.Context, token, project string) string {
	var now struct {
		Advice struct {
			Do  string
			Why struct{ Text string }
		}
		Rain struct {
			Next []struct {
				Time       time.Time
				Chance, MM float64
			} `json:"next_hours"`
		}
	}
	type product struct {
		FetchedAt *time.Time `json:"fetched_at"`
		LastTry   *time.Time `json:"last_try"`
		NextTry   *time.Time `json:"next_try"`
		Trouble   *string
	}
	var weather struct {
		product
		Short *product `json:"short_range"`
	}
	for path, into := range map[string]any{"/now": &now, "/forecast": &weather} {
		answer, err := l.ask(ctx, http.MethodGet, token, "/v1/projects/"+project+path, nil)
		if err == nil {
			err = json.Unmarshal(answer, into)
		}
		if err != nil {
			return fmt.Sprintf("%s: %v\n", project, err)
		}
	}
	in := func(p product) string {
		b, _ := json.Marshal(p) // times and a text always can be
		return string(b)
	}
	out := fmt.Sprintf("%s at %s: %s, %s\n\tforecast %s\n", project, l.now().Format(time.RFC3339), now.Advice.Do,
		now.Advice.Why.Text, in(weather.product))
	if weather.Short != nil {
		out += "\tshort range " + in(*weather.Short) + "\n"
	}
	for _, h := range now.Rain.Next[:min(3, len(now.Rain.Next))] {
		out += fmt.Sprintf("\t%s chance %.2f, %.2f mm\n", h.Time.Format("15:04"), h.Chance, h.MM)
	}
	return out
}

// planned waits until every project has its forecast and its plan.
func (l *latency) planned(ctx context.Context) error {
	return l.poll(ctx, "not every project is planned", func() (bool, error) {
		fresh, err := freshCells(ctx, l.store, l.o, dayUnderWay)
		if err != nil || fresh < l.o.cells {
			return false, err
		}
		waiting, err := new(result).queued(ctx, l.store)
		return waiting == 0, err
	})
}

// watched waits until the short-range forecast of every cell has been fetched.
func (l *latency) watched(ctx context.Context) error {
	return l.poll(ctx, "not every cell has a short-range forecast", func() (bool, error) {
		n := 0
		err := l.store.InSystem(ctx, func(ctx context.Context, tx *postgres.SystemTx) error {
			for _, at := range load.Cells(l.o.cells) {
				s, err := tx.ShortState(ctx, place.CellOf(at[0], at[1]))
				if err == nil && s.Product != nil {
					n++
				}
			}
			return nil
		})
		return n == l.o.cells, err
	})
}

// poll asks until something is so.
func (l *latency) poll(ctx context.Context, what string, is func() (bool, error)) error {
	ctx, cancel := context.WithTimeout(ctx, l.o.planning)
	defer cancel()
	ticker := time.NewTicker(look)
	defer ticker.Stop()
	for {
		if ok, err := is(); err != nil || ok {
			return err
		}
		select {
		case <-ticker.C:
		case err := <-l.procs.failed:
			return err
		case <-ctx.Done():
			return fmt.Errorf("%s: %w", what, ctx.Err())
		}
	}
}

func (l *latency) post(ctx context.Context, token, path string, body any) error {
	b, err := json.Marshal(body)
	if err == nil {
		_, err = l.ask(ctx, http.MethodPost, token, path, b)
	}
	return err
}

// ask asks the API, and returns its answer.
func (l *latency) ask(ctx context.Context, method, token, path string, body []byte) ([]byte, error) {
	req, err := http.NewRequestWithContext(ctx, method, l.base+path, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", "application/json")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(resp.Body)
	if err == nil && resp.StatusCode >= http.StatusBadRequest {
		err = fmt.Errorf("%s %s: %s: %s", method, path, resp.Status, answer)
	}
	return answer, err
}

// print writes the figures, and returns what does not hold.
func (l *latency) print(entries, forecasts map[string]time.Time) error {
	fmt.Printf("under_way: %d projects\nworkers: %d processes\n", l.o.projects, l.o.workers)
	var bad error
	for _, x := range [...]struct {
		name  string
		since map[string]time.Time
	}{{"entry", entries}, {"forecast", forecasts}} {
		var took []time.Duration
		for p, at := range x.since {
			if at.IsZero() {
				return fmt.Errorf("%s: a message of project %s came before any forecast told of rain", x.name, p)
			}
			took = append(took, l.arrived[p].Sub(at))
		}
		if len(took) == 0 {
			return fmt.Errorf("no message from %s was measured", x.name)
		}
		slices.Sort(took)
		p99 := took[len(took)*99/100]
		fmt.Printf("latency_from_%s: %d messages\nlatency_from_%s_p50: %.2f s\nlatency_from_%s_p99: %.2f s\n", x.name,
			len(took), x.name, took[len(took)/2].Seconds(), x.name, p99.Seconds())
		if p99 > mostLatency && !l.o.short {
			bad = errors.Join(bad,
				fmt.Errorf("from %s to message: p99 %s, at most %s is wanted", x.name, p99, mostLatency))
		}
	}
	return bad
}
