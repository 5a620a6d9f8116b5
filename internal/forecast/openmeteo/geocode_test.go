package openmeteo_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"dryslot/internal/fault"
	"dryslot/internal/forecast/feedtest"
	"dryslot/internal/forecast/openmeteo"
)

// answered is written after the provider's description of its answers
// (https://open-meteo.com/en/docs/geocoding-api), with what is left out of some.
const answered = `{"results":[
{"id":1,"name":"Tacoma","latitude":47.25288,"longitude":-122.44429,"elevation":116.0,"feature_code":"PPLA2",
"country_code":"US", "timezone":"America/Los_Angeles","population":207948,"postcodes":["98401","98402"],
"country":"United States","admin1":"Washington","admin2":"Pierce"}, {"id":2,"name":"Tacoma","latitude":-33.2869,
"longitude":151.4546,"elevation":9999,"country_code":"AU","country":"Australia","admin1":"New South Wales"},
{"id":3,"name":"Tacoma","latitude":null,"longitude":1,"country_code":"US"}, {"id":4,"latitude":1,"longitude":1},
{"id":5,"name":"Tacoma","latitude":91,"longitude":1}],"generationtime_ms":0.5}`

func geocoder(t testing.TB, h http.HandlerFunc) *openmeteo.Geocoder {
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	g, err := openmeteo.NewGeocoder(openmeteo.GeocoderConfig{BaseURL: srv.URL + "/", Key: "k3y",
		Contact: feedtest.Contact, Timeout: time.Minute}, func() time.Time { return noon })
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestPlacesAreFoundByName(t *testing.T) {
	var asked atomic.Int32
	g := geocoder(t, func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		q := r.URL.Query()
		if r.URL.Path != "/v1/search" || q.Get("language") != "es" || q.Get("apikey") != "k3y" ||
			!strings.Contains(r.UserAgent(), feedtest.Contact) {
			t.Errorf("asked for %s by %s", r.URL, r.UserAgent())
		}
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		if q.Get("name") != "Tacoma" {
			fmt.Fprint(w, `{"generationtime_ms":0.1}`)
			return
		}
		fmt.Fprint(w, answered)
	})
	for typed, want := range map[string]int{"Tacoma": 2, "Tacoma, WA": 1, "tacoma": 0, " Tacoma ,Australia": 1,
		"Tacoma, Oregon": 0} {
		found, err := g.Find(t.Context(), typed, "es")
		if err != nil || len(found) != want {
			t.Errorf("%q: %d found, %v; want %d", typed, len(found), err, want)
		}
	}
	if n := asked.Load(); n != 2 {
		t.Errorf("asked %d times for two names", n)
	}
	found, err := g.Find(t.Context(), "Tacoma", "es")
	if err != nil || len(found) != 2 || found[0].ElevationM == nil || *found[0].ElevationM != 116 ||
		found[1].ElevationM != nil || found[0].Latitude != 47.25288 || found[0].District != "Pierce" {
		t.Errorf("%+v, %v", found, err)
	}
	for _, bad := range []string{"", " ", "x", "x, WA", strings.Repeat("x", 81), "a\xff"} {
		if _, err := g.Find(t.Context(), bad, "es"); !errors.Is(err, fault.Invalid) {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

func TestASearchThatFails(t *testing.T) {
	for name, c := range map[string]struct {
		answer http.HandlerFunc
		want   fault.Kind
	}{
		"busy": {func(w http.ResponseWriter, _ *http.Request) {
			w.WriteHeader(http.StatusTooManyRequests)
		}, fault.Unavailable},
		"a portal": {func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "<html>sign in") }, fault.Invalid},
		"refused": {func(w http.ResponseWriter, _ *http.Request) {
			w.WriteHeader(http.StatusBadRequest)
		}, fault.Invalid},
		"endless": {func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			for r.Context().Err() == nil {
				if _, err := w.Write([]byte(strings.Repeat(" ", 64<<10))); err != nil {
					return
				}
			}
		}, fault.Invalid},
	} {
		if _, err := geocoder(t, c.answer).Find(t.Context(), "Tacoma", "en"); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := geocoder(t, func(http.ResponseWriter, *http.Request) {}).Find(ctx, "Tacoma",
		"en"); !errors.Is(err, fault.Unavailable) {
		t.Errorf("given up: %v", err)
	}
	if _, err := openmeteo.NewGeocoder(openmeteo.GeocoderConfig{BaseURL: "ftp://x"}, time.Now); !errors.Is(err,
		fault.Invalid) {
		t.Errorf("an address that can't be used: %v", err)
	}
}

func FuzzDecodePlaces(f *testing.F) {
	f.Add([]byte(answered))
	f.Add([]byte(`{"results":[{"name":"\u202e` + strings.Repeat("ü", 100) + `","latitude":1,"longitude":2}]}`))
	f.Add([]byte(`{"results":null}`))
	f.Add([]byte(`{"error":true,"reason":"Parameter count must be between 1 and 100."}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		feedtest.Bounded(t, func() {
			found, err := openmeteo.DecodePlaces(body)
			if err != nil && !errors.Is(err, fault.Invalid) {
				t.Errorf("error is %v", err)
			}
			if len(found) > 50 {
				t.Errorf("%d places", len(found))
			}
			for _, n := range found {
				if n.Name == "" || math.Abs(n.Latitude) > 90 || math.Abs(n.Longitude) > 180 || n.ElevationM != nil &&
					math.Abs(*n.ElevationM) > 6000 {
					t.Errorf("%+v", n)
				}
				for _, s := range []string{n.Name, n.District, n.Region, n.Country, n.Code} {
					if len(s) > 90 || !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl) {
						t.Errorf("%q is no name", s)
					}
				}
			}
		})
	})
}
