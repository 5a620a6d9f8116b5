// Package nws asks the US National Weather Service for one cell's hours and
// reads its answers: the point's grid cell, that cell's raw layers, and the
// hourly product for what the layers lack.
//
//	f, err := nws.New(nws.Config{Contact: "weather@example.org"})
//	fc, err := f.Fetch(ctx, cell, "", now)
//
// Terms (https://www.weather.gov/documentation/services-web-api): public
// domain; a User-Agent with a contact; a rate limit that is not published.
package nws

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
)

// Name is the feed's name in DRYSLOT_FEEDS and in every answer.
const Name = "nws"

// Attribution is asked for by courtesy: the data are in the public domain.
const Attribution = "Weather data from the US National Weather Service"

// PublicURL is the provider's host.
const PublicURL = "https://api.weather.gov"

// pointAge is how long a point's grid cell is remembered. It can move; a day
// is a judgement. At most maxPoints are remembered.
const (
	pointAge  = 24 * time.Hour
	maxPoints = 20000
)

// requestTimeout lets three requests follow each other within a job's 20 s.
const requestTimeout = 6 * time.Second

// Config sets up the feed.
type Config struct {
	BaseURL   string // empty: PublicURL
	Contact   string // put in the User-Agent; the provider demands one
	Timeout   time.Duration
	Transport http.RoundTripper // nil: http.DefaultTransport
	Log       *slog.Logger      // gets a line on a missing hourly product; nil: none
}

// Feed asks the National Weather Service. It is safe for use by many goroutines.
type Feed struct {
	client *fetch.Client
	base   string
	log    *slog.Logger

	mu     sync.Mutex
	points map[place.Cell]remembered
}

type remembered struct {
	grid gridCell
	at   time.Time
}

// New returns the feed, or fault.Invalid naming what can't be used.
func New(c Config) (*Feed, error) {
	if c.BaseURL == "" {
		c.BaseURL = PublicURL
	}
	if c.Timeout == 0 {
		c.Timeout = requestTimeout
	}
	if c.Contact == "" {
		var bad fault.List
		bad.Add("DRYSLOT_CONTACT", "", "must be given: the NWS answers only who says how to be reached")
		return nil, bad.Err(Name + ": the feed can't be used")
	}
	base, err := fetch.Base("NWS_URL", c.BaseURL)
	if err != nil {
		return nil, err
	}
	f := &Feed{base: base, log: c.Log, points: make(map[place.Cell]remembered)}
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

// Limits returns our own modest limits (a judgement): the provider's are not
// published, and "generous for typical use". A cell takes two requests, three
// on the first time in a day.
func (f *Feed) Limits() forecast.Limits {
	return forecast.Limits{AtOnce: 2, PerMinute: 300, Weight: 2}
}

// accept is what the service answers with.
var accept = []string{"application/geo+json", "application/ld+json", "application/json"}

// Fetch asks for the cell's raw layers, after the grid cell where that is not
// known, and for the hourly product where the layers lack a value that it
// could give. A failing hourly product is left out, and logged. There is
// no validator: the layers carry when they were issued.
func (f *Feed) Fetch(ctx context.Context, cell place.Cell, _ string, now time.Time) (forecast.Forecast, error) {
	grid, known, err := f.point(ctx, cell, now)
	if err != nil {
		return forecast.Forecast{}, err
	}
	ans, err := f.get(ctx, grid.path(), now)
	if known && errors.Is(err, fault.NotFound) {
		// The point has moved to another cell since it was looked up.
		f.forget(cell)
		if grid, _, err = f.point(ctx, cell, now); err == nil {
			ans, err = f.get(ctx, grid.path(), now)
		}
	}
	if err != nil {
		return forecast.Forecast{}, err
	}
	fc, err := DecodeGrid(ans.Body, cell, now)
	if err != nil {
		return forecast.Forecast{}, err
	}
	fc.NextFetch = ans.Expires
	if lacksHourly(&fc) {
		if err := f.addHourly(ctx, &fc, grid, now); err != nil {
			f.log.LogAttrs(ctx, slog.LevelWarn, "nws forecast kept without the hourly product",
				slog.String("cell", cell.Key()), slog.Any("error", err))
		}
	}
	if err := fc.Usable(); err != nil {
		return forecast.Forecast{}, err
	}
	return fc, nil
}

func (f *Feed) get(ctx context.Context, path string, now time.Time) (fetch.Answer, error) {
	return f.client.Get(ctx, fetch.Request{Feed: Name, URL: f.base + path, Accept: accept, Now: now, Reason: reason})
}

// point returns the grid cell of a forecast cell, and whether it was known.
func (f *Feed) point(ctx context.Context, cell place.Cell, now time.Time) (g gridCell, known bool, err error) {
	f.mu.Lock()
	r, ok := f.points[cell]
	f.mu.Unlock()
	if age := now.Sub(r.at); ok && age >= 0 && age < pointAge {
		return r.grid, true, nil
	}
	path := "/points/" + fetch.Coordinate(cell.Latitude) + "," + fetch.Coordinate(cell.Longitude)
	ans, err := f.get(ctx, path, now)
	if err != nil {
		return gridCell{}, false, err
	}
	g, err = decodePoint(ans.Body)
	if err != nil {
		return gridCell{}, false, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.points) >= maxPoints {
		clear(f.points) // rare, and only costs looking up again
	}
	f.points[cell] = remembered{g, now}
	return g, false, nil
}

func (f *Feed) forget(cell place.Cell) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.points, cell)
}

// fromHourly are the variables that the hourly product can give.
var fromHourly = []forecast.Variable{forecast.AirC, forecast.DewPointC, forecast.HumidityPct, forecast.WindMS,
	forecast.RainChance}

// lacksHourly reports whether an hour lacks what the hourly product can give.
func lacksHourly(fc *forecast.Forecast) bool {
	for i := range fc.Hours {
		for _, v := range fromHourly {
			if !fc.Hours[i].Get(v).Known {
				return true
			}
		}
	}
	return false
}

// addHourly fills what the layers lack from the hourly product. Its chances
// are taken only where the layers give none at all, because they are those of
// another period.
func (f *Feed) addHourly(ctx context.Context, fc *forecast.Forecast, grid gridCell, now time.Time) error {
	ans, err := f.get(ctx, grid.path()+"/forecast/hourly", now)
	if err != nil {
		return err
	}
	hourly, err := DecodeHourly(ans.Body, fc.Cell, now)
	if err == nil {
		err = hourly.CheckOrigin(now)
	}
	if err != nil {
		return err
	}
	chances := false
	for i := range fc.Hours {
		chances = chances || fc.Hours[i].Get(forecast.RainChance).Known
	}
	if !chances {
		fc.Wet = hourly.Wet
	}
	for i := range hourly.Hours {
		from := &hourly.Hours[i]
		h := int(from.Start.Sub(fc.Hours[0].Start) / time.Hour)
		if from.Start.Before(fc.Hours[0].Start) || h >= len(fc.Hours) {
			continue
		}
		for _, v := range fromHourly {
			if to := &fc.Hours[h].Values[v]; !to.Known && (v != forecast.RainChance || !chances) {
				*to = from.Get(v)
			}
		}
	}
	return nil
}

// reason reads the provider's words out of a problem body (RFC 7807).
func reason(_ int, body []byte, _ time.Time) (string, time.Duration) {
	var p struct {
		Title  string `json:"title"`
		Detail string `json:"detail"`
	}
	if err := fetch.Parse(Name, body, &p); err != nil {
		return "", 0
	}
	return strings.TrimPrefix(p.Title+": "+p.Detail, ": "), 0
}
