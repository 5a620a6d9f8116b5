// Package load owns a stand-in for a weather provider, for measuring the
// service under load: it answers in the form of Open-Meteo with invented
// weather, fails now and then, and checks by itself that its limits are kept.
//
//	p := load.NewProvider(load.Config{Limits: limits, Errors: 0.05, Hangs: 0.02})
//	http.Serve(listener, p)
package load

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
)

// Config says how the provider behaves.
type Config struct {
	Limits forecast.Limits  // Weight is of one forecast request
	Errors float64          // share of requests that are answered with an error
	Hangs  float64          // share of requests that are never answered
	Now    func() time.Time // nil: time.Now
	Dry    bool             // no rain, until Turn
}

// Figures is what the provider has seen.
type Figures struct {
	Requests    int      `json:"requests"`
	Answered    int      `json:"answered"` // whole forecasts
	Errors      int      `json:"errors"`
	Hangs       int      `json:"hangs"`
	Cells       int      `json:"cells"`    // with an answer
	Repeated    int      `json:"repeated"` // cells answered more than once
	MostAtOnce  int      `json:"most_at_once"`
	MostMinute  float64  `json:"most_minute"` // weight
	MostHour    float64  `json:"most_hour"`
	Breaches    int      `json:"breaches"`
	BreachNotes []string `json:"breach_notes"` // the first few
}

// Provider answers. It is safe for use by many goroutines.
type Provider struct {
	c        Config
	mu       sync.Mutex
	free     *sync.Cond
	inFlight int
	taken    []taken
	tries    map[string]int // by cell and path
	answers  map[string]int // by cell
	f        Figures
	turned   time.Time            // by the provider's clock; zero: not yet
	told     map[string]time.Time // by cell: when the first answer that tells of the turn was out, by the wall
}

type taken struct {
	at     time.Time
	weight float64
}

// NewProvider returns a provider that has seen nothing yet.
func NewProvider(c Config) *Provider {
	if c.Now == nil {
		c.Now = time.Now
	}
	p := &Provider{c: c, tries: map[string]int{}, answers: map[string]int{}, told: map[string]time.Time{}}
	p.free = sync.NewCond(&p.mu)
	return p
}

// Figures returns what was seen so far.
func (p *Provider) Figures() Figures {
	p.mu.Lock()
	defer p.mu.Unlock()
	f := p.f
	f.Cells = len(p.answers)
	for _, n := range p.answers {
		if n > 1 {
			f.Repeated++
		}
	}
	return f
}

// Turn has heavy rain, for two hours from now on, in every answer: none told of it
// before.
func (p *Provider) Turn() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.turned = p.c.Now()
}

// Told returns, by cell, when the first answer that told of the turn was out, a
// forecast or a short-range product.
func (p *Provider) Told() map[place.Cell]time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := make(map[place.Cell]time.Time, len(p.told))
	for key, at := range p.told {
		var c place.Cell
		if _, err := fmt.Sscanf(key, "%g,%g", &c.Latitude, &c.Longitude); err == nil {
			out[place.CellOf(c.Latitude, c.Longitude)] = at
		}
	}
	return out
}

// ServeHTTP answers /v1/forecast and /v1/ensemble, and /figures with Figures.
func (p *Provider) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	switch r.URL.Path {
	case "/figures":
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(p.Figures()) // fails where the client has gone
		return
	case "/v1/forecast", "/v1/ensemble":
	default:
		http.NotFound(w, r)
		return
	}
	q := r.URL.Query()
	cell := q.Get("latitude") + "," + q.Get("longitude")
	fate, allowed := p.enter(r.URL.Path, cell, weightOf(q))
	defer p.leave()
	switch {
	case !allowed:
		refuse(w, http.StatusTooManyRequests, "Minutely API request limit exceeded. Please try again in one minute.")
	case fate < p.c.Errors:
		p.count(&p.f.Errors)
		fail(w, int(fate*1e6)%5)
	case fate < p.c.Errors+p.c.Hangs:
		p.count(&p.f.Hangs)
		<-r.Context().Done()
	default:
		p.mu.Lock()
		turned := p.turned
		p.mu.Unlock()
		short := r.URL.Path == "/v1/forecast" && q.Has("minutely_15")
		body, err := p.body(r.URL.Path, q, turned)
		if err != nil {
			refuse(w, http.StatusBadRequest, err.Error())
			return
		}
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		if _, err := w.Write(body); err == nil && r.URL.Path == "/v1/forecast" {
			p.answered(cell, short, !turned.IsZero())
		}
	}
}

// body is the document asked for.
func (p *Provider) body(path string, q url.Values, turned time.Time) ([]byte, error) {
	if path == "/v1/forecast" && q.Has("minutely_15") {
		return quarterHours(q, p.c.Now(), turned)
	}
	return document(path, q, p.c.Now(), p.c.Dry, turned)
}

// answered notes an answer of /v1/forecast.
func (p *Provider) answered(cell string, short, tells bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !short {
		p.f.Answered++
		p.answers[cell]++
	}
	if _, ok := p.told[cell]; tells && !ok {
		p.told[cell] = time.Now()
	}
}

func (p *Provider) count(n *int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	*n++
}

// linger is how long a request that seems to come beside another is held
// until the other is seen to have gone: a connection that its client has
// closed is noticed a moment later.
const linger = 100 * time.Millisecond

// enter counts a request and checks the limits; fate is between 0 and 1.
func (p *Provider) enter(path, cell string, weight float64) (fate float64, allowed bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if most := p.c.Limits.AtOnce; most > 0 && p.inFlight >= most {
		late := false
		timer := time.AfterFunc(linger, func() {
			p.mu.Lock()
			defer p.mu.Unlock()
			late = true
			p.free.Broadcast()
		})
		for p.inFlight >= most && !late {
			p.free.Wait()
		}
		timer.Stop()
	}
	p.inFlight++
	p.f.Requests++
	p.f.MostAtOnce = max(p.f.MostAtOnce, p.inFlight)
	now := p.c.Now()
	for len(p.taken) > 0 && p.taken[0].at.Before(now.Add(-24*time.Hour)) {
		p.taken = p.taken[1:]
	}
	p.taken = append(p.taken, taken{now, weight})
	minute, hour, day := p.since(now.Add(-time.Minute)), p.since(now.Add(-time.Hour)), p.since(now.Add(-24*time.Hour))
	p.f.MostMinute, p.f.MostHour = max(p.f.MostMinute, minute), max(p.f.MostHour, hour)
	l := p.c.Limits
	allowed = true
	for _, b := range [...]struct {
		have float64
		most int
		what string
	}{{float64(p.inFlight), l.AtOnce, "at once"}, {minute, l.PerMinute, "a minute"}, {hour, l.PerHour, "an hour"},
		{day, l.PerDay, "a day"}} {
		if b.most > 0 && b.have > float64(b.most)+1e-6 {
			allowed = false
			p.f.Breaches++
			if len(p.f.BreachNotes) < 5 {
				p.f.BreachNotes = append(p.f.BreachNotes, fmt.Sprintf("%.1f %s, %d allowed, by %s", b.have, b.what,
					b.most, cell))
			}
		}
	}
	p.tries[path+cell]++
	return chance(path, cell, strconv.Itoa(p.tries[path+cell])), allowed
}

func (p *Provider) leave() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.inFlight--
	p.free.Broadcast()
}

func (p *Provider) since(t time.Time) (sum float64) {
	for i := len(p.taken) - 1; i >= 0 && p.taken[i].at.After(t); i-- {
		sum += p.taken[i].weight
	}
	return sum
}

// weightOf is what a request counts for, by the provider's rule as remembered
// (from memory): variables by ten times days by fourteen, 1 at least.
func weightOf(q url.Values) float64 {
	n := len(strings.Split(q.Get("hourly"), ","))
	days := number(q.Get("forecast_days"), 7) + number(q.Get("past_days"), 0)
	return max(1, float64(n)/10*max(1, float64(days)/14))
}

func number(s string, otherwise int) int {
	n, err := strconv.Atoi(s)
	if err != nil {
		return otherwise
	}
	return n
}

func refuse(w http.ResponseWriter, status int, reason string) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(struct {
		Error  bool   `json:"error"`
		Reason string `json:"reason"`
	}{true, reason}) // fails where the client has gone
}

// fail answers with one of the errors that are met.
func fail(w http.ResponseWriter, kind int) {
	var text string
	switch kind {
	case 0:
		refuse(w, http.StatusServiceUnavailable, "The service is overloaded")
		return
	case 1:
		w.Header().Set("Content-Type", "text/html")
		w.WriteHeader(http.StatusBadGateway)
		text = "<html><body><h1>502 Bad Gateway</h1></body></html>"
	case 2: // a failure in the middle of an answer
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		text = `{"latitude":47.2,"longitude":9.1,
			"hourly":{"time":["2026-01-01T00:00"Unexpected error while streaming data: timeoutReached`
	case 3: // a portal that answers everything
		w.Header().Set("Content-Type", "text/html")
		text = "<html><body>Please sign in</body></html>"
	default:
		w.WriteHeader(http.StatusInternalServerError)
	}
	_, _ = w.Write([]byte(text)) // fails where the client has gone
}

// chance is a number between 0 and 1 that belongs to its words.
func chance(words ...string) float64 {
	h := fnv.New64a()
	for _, w := range words {
		_, _ = h.Write([]byte(w + "\n"))
	}
	x := h.Sum64()
	x ^= x >> 33
	x *= 0xff51afd7ed558ccd // MurmurHash3's finaliser spreads what FNV leaves together
	x ^= x >> 33
	return float64(x>>11) / (1 << 53)
}
