// Package fetch owns what every feed's request has in common: it says who
// asks, takes a bounded time and a bounded body, believes only the media type
// that was asked for, and turns every way to fail into a fault with the
// provider's reason and its wish when to be asked again.
//
//	c, err := fetch.New(fetch.Config{Contact: "weather@example.org"})
//	ans, err := c.Get(ctx, fetch.Request{Feed: "open-meteo", URL: u, Accept: []string{"application/json"}})
package fetch

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
)

// Defaults of Config. A job is stopped after 20 s, so that one request and a
// short second one fit. The largest real document met has 0.15 MB; an ensemble
// of 51 members with six variables over 16 days would have about 1 MB.
const (
	DefaultTimeout = 10 * time.Second
	DefaultMaxBody = 4 << 20
	maxErrorBody   = 64 << 10
	maxRedirects   = 3
)

// Config sets up a Client.
type Config struct {
	Contact   string            // address put in the User-Agent; empty: none, which some providers refuse
	Timeout   time.Duration     // of one request with its body; 0: DefaultTimeout
	MaxBody   int64             // most bytes of a body, unpacked; 0: DefaultMaxBody
	AtOnce    int               // most requests at the same time; 0: 1
	Transport http.RoundTripper // nil: http.DefaultTransport
}

// Client asks one provider.
type Client struct {
	http    http.Client
	agent   string
	timeout time.Duration
	maxBody int64
	turn    chan struct{}
}

// New returns a client, or fault.Invalid for a contact that no header can carry.
func New(c Config) (*Client, error) {
	agent := "dryslot/1"
	if c.Contact != "" {
		if strings.ContainsFunc(c.Contact, func(r rune) bool { return r < ' ' || r > '~' || r == '(' || r == ')' }) {
			var bad fault.List
			bad.Add("contact", c.Contact, "must be printable ASCII without brackets, to be put in a User-Agent")
			return nil, bad.Err("the contact for the feeds can't be used")
		}
		agent += " (" + c.Contact + ")"
	}
	if c.Timeout <= 0 {
		c.Timeout = DefaultTimeout
	}
	if c.MaxBody <= 0 {
		c.MaxBody = DefaultMaxBody
	}
	if c.AtOnce <= 0 {
		c.AtOnce = 1
	}
	return &Client{
		http:    http.Client{Transport: c.Transport, CheckRedirect: sameHost},
		agent:   agent,
		timeout: c.Timeout,
		maxBody: c.MaxBody,
		turn:    make(chan struct{}, c.AtOnce),
	}, nil
}

// sameHost follows a redirect only within the host that was asked: a key in
// the query, and the trust, are for that host. Nor does it go from https to
// http, where the key would lie open.
func sameHost(req *http.Request, via []*http.Request) error {
	if req.URL.Host != via[0].URL.Host {
		return fmt.Errorf("redirected to another host, %s", req.URL.Host)
	}
	if via[len(via)-1].URL.Scheme == "https" && req.URL.Scheme != "https" {
		return errors.New("redirected from https to " + req.URL.Scheme)
	}
	if len(via) > maxRedirects {
		return fmt.Errorf("redirected more than %d times", maxRedirects)
	}
	return nil
}

// Request is one question to a provider.
type Request struct {
	Feed            string    // who is asked, for messages
	URL             string    // whole, with its query
	Accept          []string  // media types that are believed, the best first
	IfModifiedSince string    // a Last-Modified that was given before; empty: none
	Now             time.Time // the service's clock

	// Reason reads the provider's own words out of the body of a refusal, and
	// how long to wait where those words say so. May be nil.
	Reason func(status int, body []byte, now time.Time) (reason string, wait time.Duration)
}

// Answer is a document that came whole.
type Answer struct {
	Body         []byte
	Deprecated   bool      // status 203: the product is deprecated or in beta
	Expires      time.Time // by the service's clock; zero: not said
	LastModified string    // to be sent back; empty: not said
}

// Get asks and returns the whole answer. It returns forecast.ErrNotModified
// (with Expires in the answer) where nothing is new, fault.Unavailable where
// asking again later can help (no or a cut answer, 408, 425, 429, 5xx), with
// RetryAfter where the provider gave one, fault.NotFound for a 404, and
// fault.Invalid for any other refusal, a body that is too large or one of
// another media type. Where every place would be refused alike (401, 403, another
// media type) its cause is forecast.ErrRefusesAll.
func (c *Client) Get(ctx context.Context, r Request) (Answer, error) {
	select {
	case c.turn <- struct{}{}:
		defer func() { <-c.turn }()
	case <-ctx.Done():
		return Answer{}, fault.Wrap(fault.Unavailable, r.Feed+": gave up waiting for its turn", ctx.Err())
	}
	ctx, cancel := context.WithTimeout(ctx, c.timeout)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, r.URL, nil)
	if err != nil {
		return Answer{}, fault.Wrap(fault.Invalid, r.Feed+": the address can't be asked", withoutURL(err))
	}
	req.Header.Set("User-Agent", c.agent)
	req.Header.Set("Accept", strings.Join(r.Accept, ", "))
	if r.IfModifiedSince != "" {
		req.Header.Set("If-Modified-Since", r.IfModifiedSince)
	}
	resp, err := c.http.Do(req)
	if err != nil {
		return Answer{}, fault.Of(fault.Unavailable, NoAnswer, message.Name("feed", r.Feed)).By(withoutURL(err))
	}
	defer resp.Body.Close()
	ans := Answer{
		Deprecated:   resp.StatusCode == http.StatusNonAuthoritativeInfo,
		Expires:      expires(resp.Header, r.Now),
		LastModified: resp.Header.Get("Last-Modified"),
	}
	switch resp.StatusCode {
	case http.StatusOK, http.StatusNonAuthoritativeInfo:
	case http.StatusNotModified:
		return ans, forecast.ErrNotModified
	default:
		return Answer{}, refusal(resp, r)
	}
	if err := believable(resp.Header, r); err != nil {
		return Answer{}, err
	}
	ans.Body, err = io.ReadAll(io.LimitReader(resp.Body, c.maxBody+1))
	if err != nil {
		return Answer{}, fault.Of(fault.Unavailable, BrokeOff, message.Name("feed", r.Feed)).By(withoutURL(err))
	}
	if int64(len(ans.Body)) > c.maxBody {
		return Answer{}, fault.New(fault.Invalid, fmt.Sprintf("%s: the answer is larger than %d bytes", r.Feed,
			c.maxBody))
	}
	return ans, nil
}

// withoutURL drops the address from an error: its query may hold a key.
func withoutURL(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}

// believable refuses an answer that isn't of a media type asked for, such as
// the HTML page of a proxy or a captive portal.
func believable(h http.Header, r Request) error {
	got, _, err := mime.ParseMediaType(h.Get("Content-Type"))
	if err == nil {
		for _, want := range r.Accept {
			if got == want {
				return nil
			}
		}
	}
	return fault.Wrap(fault.Invalid, r.Feed+": the answer is of another kind than was asked for",
		forecast.ErrRefusesAll).
		At("Content-Type", h.Get("Content-Type"), fault.Stated("must be "+strings.Join(r.Accept, " or ")))
}

// refusal reads why a provider did not answer.
func refusal(resp *http.Response, r Request) error {
	body, err := io.ReadAll(io.LimitReader(resp.Body, maxErrorBody))
	if err != nil {
		body = nil // the status says enough
	}
	figures := []message.Figure{message.Name("feed", r.Feed), message.Count("status", resp.StatusCode)}
	e := fault.Of(fault.Invalid, Refused, figures...)
	switch {
	case resp.StatusCode >= 500, resp.StatusCode == http.StatusTooManyRequests,
		resp.StatusCode == http.StatusRequestTimeout, resp.StatusCode == http.StatusTooEarly:
		e.Kind = fault.Unavailable
		e.RetryAfter = retryAfter(resp.Header, r.Now)
	case resp.StatusCode == http.StatusNotFound:
		e.Kind = fault.NotFound
	case resp.StatusCode == http.StatusUnauthorized:
		e.Cause = forecast.ErrRefusesAll
	case resp.StatusCode == http.StatusForbidden:
		e.Message, e.Cause = message.New(WantsContact, figures...), forecast.ErrRefusesAll
	}
	if r.Reason != nil {
		reason, wait := r.Reason(resp.StatusCode, body, r.Now)
		if reason != "" {
			e.Message = message.New(RefusedSaying, append(figures, message.Text("reason", brief(reason)))...)
		}
		if e.Kind == fault.Unavailable && e.RetryAfter == 0 {
			e.RetryAfter = wait
		}
	}
	return e
}

// brief cuts a provider's words to a sentence that fits a log line.
func brief(s string) string {
	const most = 200
	s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "?")), " ")
	if len(s) > most {
		s = strings.ToValidUTF8(s[:most], "") + "..."
	}
	return s
}
