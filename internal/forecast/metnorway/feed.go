// Package metnorway asks MET Norway's Locationforecast 2.0 for one cell's hours
// and reads its answers, "complete" and "compact" alike, and its Nowcast 2.0 for
// the next two hours where that covers.
//
//	f, err := metnorway.New(metnorway.Config{Contact: "weather@example.org"})
//	fc, err := f.Fetch(ctx, cell, lastModified, now)
//
// Terms (https://api.met.no/doc/TermsOfService): data CC BY 4.0 or NLOD 2.0, to
// be attributed; a User-Agent with a contact; at most four decimals; not asked
// again before Expires, and then with If-Modified-Since; at most 20 requests in
// a second; requests spread in time.
package metnorway

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
)

// Name is the feed's name in DRYSLOT_FEEDS and in every answer.
const Name = "met-norway"

// Attribution is to be shown wherever the data are (CC BY 4.0).
const Attribution = "Weather data from MET Norway (The Norwegian Meteorological Institute), CC BY 4.0"

// PublicURL is the provider's host.
const PublicURL = "https://api.met.no"

// The provider's products: complete has all that a place gets, compact the
// commonest variables.
const (
	Complete = "complete"
	Compact  = "compact"
)

// Config sets up the feed.
type Config struct {
	BaseURL    string // empty: PublicURL
	NowcastURL string // of the nowcast; empty: PublicURL
	Product    string // Complete or Compact; empty: Complete
	Contact    string // put in the User-Agent; the provider demands one
	Timeout    time.Duration
	Transport  http.RoundTripper // nil: http.DefaultTransport
	Log        *slog.Logger      // gets a line when the provider calls the product deprecated; nil: none
}

// Feed asks MET Norway.
type Feed struct {
	client  *fetch.Client
	url     string
	nowcast string
	log     *slog.Logger
}

// New returns the feed, or fault.Invalid naming what can't be used.
func New(c Config) (*Feed, error) {
	if c.BaseURL == "" {
		c.BaseURL = PublicURL
	}
	if c.Product == "" {
		c.Product = Complete
	}
	var bad fault.List
	if c.Contact == "" {
		bad.Add("DRYSLOT_CONTACT", "", "must be given: MET Norway answers only who says how to be reached")
	}
	if c.Product != Complete && c.Product != Compact {
		bad.Add("product", c.Product, "must be "+Complete+" or "+Compact)
	}
	if err := bad.Err(Name + ": the feed can't be used"); err != nil {
		return nil, err
	}
	base, err := fetch.Base("METNORWAY_URL", c.BaseURL)
	if err != nil {
		return nil, err
	}
	if c.NowcastURL == "" {
		c.NowcastURL = PublicURL
	}
	short, err := fetch.Base("METNORWAY_NOWCAST_URL", c.NowcastURL)
	if err != nil {
		return nil, err
	}
	f := &Feed{url: base + "/weatherapi/locationforecast/2.0/" + c.Product, nowcast: short +
		"/weatherapi/nowcast/2.0/complete", log: c.Log}
	if f.log == nil {
		f.log = slog.New(slog.DiscardHandler)
	}
	f.client, err = fetch.New(fetch.Config{Contact: c.Contact, Timeout: c.Timeout, AtOnce: f.Limits().AtOnce,
		Transport: c.Transport})
	if err != nil {
		return nil, err
	}
	return f, nil
}

// Name returns the feed's name.
func (f *Feed) Name() string { return Name }

// Limits returns the provider's stated limit of 20 requests in a second for
// one application, as so many in a minute; two at once are our own modesty.
func (f *Feed) Limits() forecast.Limits {
	return forecast.Limits{AtOnce: 2, PerMinute: 20 * 60, Weight: 1}
}

// accept is what the service answers with.
var accept = []string{"application/json", "application/geo+json"}

// Fetch asks for the cell's hours. With the validator of an earlier forecast
// it may return forecast.ErrNotModified, beside a forecast that holds the new
// NextFetch alone.
func (f *Feed) Fetch(ctx context.Context, cell place.Cell, validator string, now time.Time) (forecast.Forecast, error) {
	q := url.Values{"lat": {fetch.Coordinate(cell.Latitude)}, "lon": {fetch.Coordinate(cell.Longitude)}}
	ans, err := f.client.Get(ctx, fetch.Request{Feed: Name, URL: f.url + "?" + q.Encode(), Accept: accept,
		IfModifiedSince: validator, Now: now, Reason: reason})
	if errors.Is(err, forecast.ErrNotModified) {
		return forecast.Forecast{Cell: cell, NextFetch: ans.Expires, Validator: validator}, err
	}
	if err != nil {
		return forecast.Forecast{}, err
	}
	if ans.Deprecated {
		f.log.LogAttrs(ctx, slog.LevelWarn, "met-norway calls this product deprecated or in beta",
			slog.String("address", f.url))
	}
	fc, err := Decode(ans.Body, cell, now)
	if err != nil {
		return forecast.Forecast{}, err
	}
	if err := fc.Usable(); err != nil {
		return forecast.Forecast{}, err
	}
	fc.NextFetch, fc.Validator = ans.Expires, ans.LastModified
	return fc, nil
}

// reason explains a refusal, whose body is a page of HTML.
func reason(status int, _ []byte, _ time.Time) (string, time.Duration) {
	switch status {
	case http.StatusUnprocessableEntity:
		return "the place lies outside the product's area", 0
	case http.StatusTooManyRequests:
		// No Retry-After was seen; the limit counts seconds, and whoever keeps
		// asking is closed out: a minute is a judgement.
		return "throttled", time.Minute
	}
	return strings.ToLower(http.StatusText(status)), 0
}
