package feedtest

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
)

// Recorded is where the recorded documents are, from a feed's own folder.
const Recorded = "../../../testdata/feeds"

// Document is a recorded document.
type Document struct {
	File    string // under Recorded
	Path    string // at which the provider serves it
	Others  map[string]Answer
	Refused string // why no forecast is made of it; empty: one is
}

// Read returns a recorded file. MET Norway's were kept beside their headers,
// which are left aside.
func Read(t testing.TB, file string) []byte {
	t.Helper()
	body, err := os.ReadFile(filepath.Join(Recorded, file))
	if err != nil {
		t.Fatal(err)
	}
	var kept struct {
		Data json.RawMessage `json:"data"`
	}
	if json.Unmarshal(body, &kept) == nil && kept.Data != nil {
		return kept.Data
	}
	return body
}

// reading is what an independent script made of a document.
type reading struct {
	Issued  string                     `json:"issued"`
	PeriodH int                        `json:"period_h"`
	Hours   []map[string]any           `json:"hours"`
	First   string                     `json:"first"`
	Members map[string]json.RawMessage `json:"members"`
}

func readReading(t testing.TB, file string) reading {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(Recorded, "readings", filepath.Base(file)))
	if err != nil {
		t.Fatal(err)
	}
	var r reading
	if err := json.Unmarshal(b, &r); err != nil {
		t.Fatal(err)
	}
	return r
}

// testReal compares every value of the recorded documents with the reading of
// another program, and fetches them as from their provider.
func testReal(t *testing.T, s Subject) {
	if len(s.Real) == 0 {
		t.Fatal("no recorded document")
	}
	for _, d := range s.Real {
		body := Read(t, d.File)
		fc, err := s.Decode(body)
		if err != nil {
			t.Errorf("%s: %v", d.File, err)
			continue
		}
		values := Compare(t, d.File, &fc)
		t.Logf("%s: %d values equal to the independent reading", d.File, values)
		routes := map[string]Answer{d.Path: {Status: 200, Header: map[string]string{"Content-Type": s.ContentType},
			Body: body}}
		for p, a := range d.Others {
			routes[p] = a
		}
		got, err := s.Open(t, serve(t, routes), enough).Fetch(context.Background(), place.Cell{}, "", time.Time{})
		switch {
		case d.Refused != "":
			refused(t, d.File, err, fault.Invalid, d.Refused)
		case err != nil:
			t.Errorf("%s: %v", d.File, err)
		case !reflect.DeepEqual(got.Hours, fc.Hours):
			t.Errorf("%s: fetched hours differ from those decoded", d.File)
		}
	}
}

// Compare compares a forecast value by value with the independent reading of
// its document, and returns how many values were compared.
func Compare(t *testing.T, file string, fc *forecast.Forecast) (values int) {
	t.Helper()
	r := readReading(t, file)
	if len(r.Hours) != len(fc.Hours) {
		t.Errorf("%s: %d hours, want %d", file, len(fc.Hours), len(r.Hours))
		return 0
	}
	if r.Issued != "" {
		at, err := time.Parse(time.RFC3339, r.Issued)
		if err != nil || fc.Sources[0].IssuedAt == nil || !fc.Sources[0].IssuedAt.Equal(at) {
			t.Errorf("%s: issued at %v, want %s", file, fc.Sources[0].IssuedAt, r.Issued)
		}
	} else if fc.Sources[0].IssuedAt != nil {
		t.Errorf("%s: issued at %v, which the document does not say", file, fc.Sources[0].IssuedAt)
	}
	if r.PeriodH != 0 && fc.Wet.Period != time.Duration(r.PeriodH)*time.Hour {
		t.Errorf("%s: chances are those of %v, want %d h", file, fc.Wet.Period, r.PeriodH)
	}
	for i, want := range r.Hours {
		h := &fc.Hours[i]
		if at := h.Start.Format(time.RFC3339); at != want["time"] {
			t.Fatalf("%s: hour %d starts at %s, want %v", file, i, at, want["time"])
		}
		for v := range forecast.NumVariables {
			x, ok := want[v.String()].(float64)
			got := h.Get(v)
			if got.Known != ok || (ok && !same(got.V, x)) {
				t.Errorf("%s: %v at %v is %+v, want %v (known: %v)", file, v, h.Start, got, x, ok)
				continue
			}
			values++
			computed := strings.Contains(strings.Join(words(want["computed"]), " "), v.String())
			if ok && computed != (fc.Sources[h.From[v]].Feed == forecast.Computed) {
				t.Errorf("%s: %v at %v has the source %s, computed: %v", file, v, h.Start, fc.Sources[h.From[v]].Feed,
					computed)
			}
		}
	}
	return values
}

func words(v any) (out []string) {
	list, _ := v.([]any)
	for _, w := range list {
		if s, ok := w.(string); ok {
			out = append(out, s)
		}
	}
	return out
}

// CompareMembers compares an ensemble with the independent reading of its
// document, and returns how many values were compared.
func CompareMembers(t *testing.T, file string, first time.Time, members []forecast.Member) (values int) {
	t.Helper()
	r := readReading(t, file)
	if got := first.Format(time.RFC3339); got != r.First {
		t.Errorf("%s: the members begin at %s, want %s", file, got, r.First)
	}
	if len(members) != len(r.Members) {
		t.Errorf("%s: %d members, want %d", file, len(members), len(r.Members))
	}
	for _, m := range members {
		var want map[string][]*float64
		if err := json.Unmarshal(r.Members[m.Name], &want); err != nil {
			t.Errorf("%s: member %s: %v", file, m.Name, err)
			continue
		}
		for v := range forecast.NumVariables {
			for i, x := range want[v.String()] {
				if got := m.Values[v]; x == nil || got == nil || !same(got[i], *x) {
					t.Errorf("%s: %v of %s differs at hour %d", file, v, m.Name, i)
				}
				values++
			}
			if _, ok := want[v.String()]; !ok && m.Values[v] != nil {
				t.Errorf("%s: %v of %s is not in the document", file, v, m.Name)
			}
		}
	}
	return values
}

// Errors checks how recorded bodies of refusals are read: each is served
// with its status, and the error must be of a kind and say the words.
func Errors(t *testing.T, s Subject, cases []ErrorCase) {
	for _, c := range cases {
		a := Answer{Status: c.Status, Header: map[string]string{"Content-Type": c.ContentType}, Body: Read(t, c.File)}
		_, err := s.Open(t, serveAll(t, a), enough).Fetch(context.Background(), cell, "", start)
		refused(t, c.File, err, c.Kind, c.Says)
		var f *fault.Error
		if errors.As(err, &f) && f.RetryAfter != c.Wait {
			t.Errorf("%s: to be retried after %v, want %v", c.File, f.RetryAfter, c.Wait)
		}
	}
}

// ErrorCase is a recorded body of a refusal. The service's clock shows 13:00
// UTC on 2026-04-09.
type ErrorCase struct {
	File        string
	Status      int
	ContentType string
	Kind        fault.Kind
	Says        string
	Wait        time.Duration
}
