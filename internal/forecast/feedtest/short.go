package feedtest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// ShortFeed is a feed with a short-range product.
type ShortFeed interface {
	FetchShort(ctx context.Context, cell place.Cell, now time.Time) (forecast.ShortRange, error)
}

// ShortSubject is one short-range product with what its format can say.
type ShortSubject struct {
	Name string
	Step time.Duration
	// Open opens the feed against a server, with Contact.
	Open func(t testing.TB, base string) ShortFeed
	// Write writes a table in the product's format: a body for each path.
	Write func(ShortTable) map[string][]byte
	// Rain is what a step says of rain: a rate in mm/h, or a chance.
	Rain func(forecast.ShortStep) unit.Opt
	// ContentType is that of the product's documents.
	ContentType string
	// Decode reads the document alone.
	Decode func(body []byte) (forecast.ShortRange, error)
}

// ShortTable is rain to be written: a value from 0 to 1 each step, NaN unknown.
type ShortTable struct {
	Issued, Start time.Time
	Rain          []float64
	Place         *place.Cell
}

func (s *ShortSubject) table(from time.Time, length time.Duration) ShortTable {
	r := rand.New(rand.NewSource(11))
	tb := ShortTable{Issued: from.Add(-2 * time.Minute), Start: from, Place: &place.Cell{Latitude: cell.Latitude,
		Longitude: cell.Longitude}}
	for range int(length / s.Step) {
		tb.Rain = append(tb.Rain, float64(r.Intn(5))*0.25)
	}
	return tb
}

func (s *ShortSubject) fetch(t *testing.T, tb ShortTable) (forecast.ShortRange, error) {
	t.Helper()
	routes := map[string]Answer{}
	for path, body := range s.Write(tb) {
		routes[path] = Answer{Status: 200, Header: map[string]string{"Content-Type": s.ContentType}, Body: body}
	}
	return s.Open(t, serve(t, routes)).FetchShort(context.Background(), cell, start)
}

// RunShort runs the suite of short-range products.
func RunShort(t *testing.T, s ShortSubject) {
	t.Run("every value in its step", func(t *testing.T) {
		tb := s.table(start, 4*time.Hour)
		tb.Rain[len(tb.Rain)-1] = math.NaN()
		got, err := s.fetch(t, tb)
		if err != nil {
			t.Fatal(err)
		}
		at := map[int64]forecast.ShortStep{}
		for _, x := range got.Steps {
			at[x.Start.Unix()] = x
			if x.Length != s.Step || x.Start.Location() != time.UTC {
				t.Errorf("step %+v, want one of %v in UTC", x, s.Step)
			}
		}
		for i, want := range tb.Rain {
			if v := s.Rain(at[tb.Start.Add(time.Duration(i)*s.Step).Unix()]).Float(); !same(v, want) {
				t.Errorf("rain at step %d is %v, want %v", i, v, want)
			}
		}
		if got.Source.Feed != s.Name || got.Source.Attribution == "" || !got.Source.FetchedAt.Equal(start) ||
			got.Cell != cell {
			t.Errorf("source %+v of %v", got.Source, got.Cell)
		}
	})
	t.Run("the hours ahead", func(t *testing.T) { s.testAhead(t) })
	t.Run("documents cut or of another form", func(t *testing.T) { s.testBroken(t) })
}

func (s *ShortSubject) testAhead(t *testing.T) {
	foreign, empty := s.table(start, 4*time.Hour), s.table(start, 4*time.Hour)
	foreign.Place = &place.Cell{Latitude: cell.Latitude, Longitude: cell.Longitude + 20}
	for i := range empty.Rain {
		empty.Rain[i] = math.NaN()
	}
	for name, c := range map[string]struct {
		tb   ShortTable
		says string // empty: it serves
	}{
		"whole":             {s.table(start, 4*time.Hour), ""},
		"begun an hour ago": {s.table(start.Add(-time.Hour), 5*time.Hour), ""},
		"old":               {s.table(start.Add(-30*24*time.Hour), 4*time.Hour), "known for"},
		"short":             {s.table(start, time.Hour), "known for"},
		"future":            {s.table(start.Add(24*time.Hour), 4*time.Hour), "known for"},
		"foreign":           {foreign, "place"},
		"empty":             {empty, s.Name},
	} {
		if name == "begun an hour ago" {
			c.tb.Issued = start
		}
		_, err := s.fetch(t, c.tb)
		if c.says == "" {
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		refused(t, name, err, fault.Invalid, c.says)
	}
}

func (s *ShortSubject) testBroken(t *testing.T) {
	var whole []byte
	for _, body := range s.Write(s.table(start, 4*time.Hour)) {
		if len(body) > len(whole) {
			whole = bytes.TrimRight(body, " \n")
		}
	}
	try := func(what string, body []byte) {
		if _, err := s.Decode(body); !errors.Is(err, fault.Invalid) {
			t.Errorf("%s: error is %v, want %v", what, err, fault.Invalid)
		}
	}
	r := rand.New(rand.NewSource(13))
	for range 200 {
		n := r.Intn(len(whole))
		try(fmt.Sprintf("cut at byte %d of %d", n, len(whole)), whole[:n])
	}
	try("more after the document", append(bytes.Clone(whole), "Unexpected error while streaming data"...))
	for _, body := range []string{"", "null", "42", "[]", "{}", `{"minutely_15":{"time":null}}`,
		`{"properties":{"timeseries":[{}]}}`,
		`{"properties":{"periods":[]}}`, `{"minutely_15":{"time":["2026-04-09T13:07"]}}`, strings.Repeat("[", 20000)} {
		try(fmt.Sprintf("%.40q", body), []byte(body))
	}
}

// SoundShort fails the test unless a document was refused with fault.Invalid, or
// became a sound short-range product.
func SoundShort(t *testing.T, s *forecast.ShortRange, err error) {
	t.Helper()
	if err == nil {
		err = s.Sound()
		if err != nil {
			t.Errorf("read, and not sound: %v", err)
		}
		return
	}
	if !errors.Is(err, fault.Invalid) {
		t.Errorf("error is %v, want %v", err, fault.Invalid)
	}
}
