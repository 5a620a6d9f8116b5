// Package openmeteo asks Open-Meteo for one cell's hours and reads its answers:
// the forecast, and the ensemble as a second product that may be missing.
//
//	f, err := openmeteo.New(openmeteo.Config{Contact: "weather@example.org"})
//	fc, err := f.Fetch(ctx, cell, "", now)
//
// Terms: data CC BY 4.0, to be attributed where they are shown. The free hosts
// are for non-commercial use within stated limits; a key opens the paid hosts
// (https://open-meteo.com/en/terms).
package openmeteo

import (
	"context"
	"log/slog"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
)

// Name is the feed's name in DRYSLOT_FEEDS and in every answer.
const Name = "open-meteo"

// Attribution is to be shown wherever the data are (CC BY 4.0).
const Attribution = "Weather data by Open-Meteo.com, CC BY 4.0"

// The provider's hosts: free without a key, paid with one.
const (
	FreeURL          = "https://api.open-meteo.com"
	FreeEnsembleURL  = "https://ensemble-api.open-meteo.com"
	KeyedURL         = "https://customer-api.open-meteo.com"
	KeyedEnsembleURL = "https://customer-ensemble-api.open-meteo.com"
)

// Config sets up the feed.
type Config struct {
	BaseURL     string // of /v1/forecast; empty: the provider's host
	EnsembleURL string // of /v1/ensemble; empty: the provider's host if BaseURL is empty too, else no ensemble
	Key         string // of a paid plan; empty: none
	Contact     string // put in the User-Agent
	Timeout     time.Duration
	Transport   http.RoundTripper // nil: http.DefaultTransport
	Log         *slog.Logger      // gets a line on a missing ensemble; nil: none
}

// Feed asks Open-Meteo.
type Feed struct {
	client   *fetch.Client
	base     string
	ensemble string
	key      string
	free     bool
	log      *slog.Logger
}

// New returns the feed, or fault.Invalid naming what can't be used.
func New(c Config) (*Feed, error) {
	f := &Feed{base: c.BaseURL, ensemble: c.EnsembleURL, key: c.Key, log: c.Log}
	if f.base == "" {
		hosts := map[bool][2]string{false: {FreeURL, FreeEnsembleURL}, true: {KeyedURL, KeyedEnsembleURL}}[c.Key != ""]
		f.base = hosts[0]
		if f.ensemble == "" {
			f.ensemble = hosts[1]
		}
	}
	var err error
	if f.base, err = fetch.Base("OPENMETEO_URL", f.base); err != nil {
		return nil, err
	}
	if f.ensemble != "" {
		if f.ensemble, err = fetch.Base("OPENMETEO_ENSEMBLE_URL", f.ensemble); err != nil {
			return nil, err
		}
	}
	f.free = c.Key == "" && (f.base == FreeURL || f.ensemble == FreeEnsembleURL)
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

// Notice returns what the operator must know of the provider's terms, to be
// logged at start; empty: nothing.
func (f *Feed) Notice() string {
	if !f.free {
		return ""
	}
	return "open-meteo: the free host is for non-commercial use only (https://open-meteo.com/en/terms); " +
		"for any other use set OPENMETEO_KEY, or OPENMETEO_URL to a server of your own"
}

// Limits returns the free service's stated limits (https://open-meteo.com/en/terms
// and /en/pricing): requests count more with more than ten variables or more
// than two weeks. A server of one's own is asked within the same limits. Paid
// plans have a monthly limit only.
func (f *Feed) Limits() forecast.Limits {
	l := forecast.Limits{AtOnce: 1, Weight: weight(len(forecastVariables), forecastDays+pastDays)}
	if f.ensemble != "" {
		l.Weight += weight(len(ensembleVariables), forecastDays+pastDays)
	}
	if f.key == "" {
		l.PerMinute, l.PerHour, l.PerDay = 600, 5000, 10000
	}
	return l
}

// weight is what one request counts for, by the provider's rule as remembered
// (from memory): variables by ten times days by fourteen, 1 at least.
func weight(variables, days int) float64 {
	return math.Max(1, float64(variables)/10*math.Max(1, float64(days)/14))
}

// What is asked for. Two past days hold the rain of the last night and whether
// the base was frozen in the last 24 hours, also after an outage of a day.
const (
	forecastDays = 16 // the most that the service gives
	pastDays     = 2
)

var forecastVariables = []string{"temperature_2m", "relative_humidity_2m", "precipitation", "precipitation_probability",
	"snowfall", "weather_code", "cloud_cover", "wind_speed_10m", "wind_gusts_10m", "shortwave_radiation"}

// accept is what the service answers with.
var accept = []string{"application/json"}

// Fetch asks for the cell's hours, and then for the ensemble where there is
// one. A forecast that planning can use is returned whole or not at all; an
// ensemble that fails is left out, and logged.
func (f *Feed) Fetch(ctx context.Context, cell place.Cell, validator string, now time.Time) (forecast.Forecast, error) {
	q := f.query(cell, forecastVariables)
	ans, err := f.client.Get(ctx, fetch.Request{Feed: Name, URL: f.base + "/v1/forecast?" + q.Encode(), Accept: accept,
		IfModifiedSince: validator, Now: now, Reason: reason})
	if err != nil {
		return forecast.Forecast{}, err
	}
	fc, err := Decode(ans.Body, cell, now)
	if err != nil {
		return forecast.Forecast{}, err
	}
	if err := fc.Usable(); err != nil {
		return forecast.Forecast{}, err
	}
	fc.NextFetch, fc.Validator = ans.Expires, ans.LastModified
	if f.ensemble != "" {
		if err := f.addEnsemble(ctx, &fc, now); err != nil {
			f.log.LogAttrs(ctx, slog.LevelWarn, "forecast kept without an ensemble", slog.String("cell", cell.Key()),
				slog.Any("error", err))
		}
	}
	return fc, nil
}

func (f *Feed) query(cell place.Cell, variables []string) url.Values {
	q := url.Values{
		"latitude":      {fetch.Coordinate(cell.Latitude)},
		"longitude":     {fetch.Coordinate(cell.Longitude)},
		"hourly":        {strings.Join(variables, ",")},
		"forecast_days": {strconv.Itoa(forecastDays)},
		"past_days":     {strconv.Itoa(pastDays)},
		// Labels carry no offset, and one offset serves a whole answer: only in
		// GMT does a day of a clock change come out right.
		"timezone":           {"GMT"},
		"wind_speed_unit":    {"ms"},
		"temperature_unit":   {"celsius"},
		"precipitation_unit": {"mm"},
	}
	if f.key != "" {
		q.Set("apikey", f.key)
	}
	return q
}

// reason reads the provider's words out of {"error":true,"reason":"..."}, and
// the wait that the words of its limits ask for.
func reason(_ int, body []byte, now time.Time) (string, time.Duration) {
	var e struct {
		Reason string `json:"reason"`
	}
	if err := fetch.Parse(Name, body, &e); err != nil {
		return "", 0
	}
	switch {
	case strings.HasPrefix(e.Reason, "Minutely"):
		return e.Reason, time.Minute
	case strings.HasPrefix(e.Reason, "Hourly"):
		return e.Reason, now.Truncate(time.Hour).Add(time.Hour).Sub(now)
	case strings.HasPrefix(e.Reason, "Daily"):
		return e.Reason, now.Truncate(24 * time.Hour).Add(24 * time.Hour).Sub(now)
	}
	return e.Reason, 0
}
