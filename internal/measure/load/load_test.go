package load_test

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/openmeteo"
	"dryslot/internal/measure/load"
	"dryslot/internal/place"
)

func serve(t *testing.T, c load.Config) (*load.Provider, string) {
	t.Helper()
	p := load.NewProvider(c)
	s := httptest.NewServer(p)
	t.Cleanup(s.Close)
	return p, s.URL
}

var now = time.Date(2026, 6, 3, 9, 40, 0, 0, time.UTC)

func clock() time.Time { return now }

// patient is how long an answer is waited for: the provider makes its documents
// up as it is asked, which a busy machine may take long over.
const patient = 5 * time.Minute

// The service's own reader finds everything that planning needs.
func TestTheDocumentsAreReadAsRealOnes(t *testing.T) {
	_, url := serve(t, load.Config{Now: clock})
	feed, err := openmeteo.New(openmeteo.Config{BaseURL: url, EnsembleURL: url, Timeout: patient})
	if err != nil {
		t.Fatal(err)
	}
	wet := 0
	for _, c := range load.Cells(40) {
		f, err := feed.Fetch(context.Background(), place.CellOf(c[0], c[1]), "", now)
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Hours) < 17*24 || len(f.Members) != 31 {
			t.Fatalf("%d hours and %d members", len(f.Hours), len(f.Members))
		}
		if _, err := forecast.Draw(&f, forecast.DrawOptions{}); err != nil {
			t.Fatal(err)
		}
		for i := range f.Hours[:17*24] {
			for _, v := range []forecast.Variable{forecast.AirC, forecast.HumidityPct, forecast.WindMS,
				forecast.CloudPct,
				forecast.RainMM, forecast.RainChance} {
				if !f.Hours[i].Get(v).Known {
					t.Fatalf("%s is unknown in hour %d", v, i)
				}
			}
			if f.Hours[i].Get(forecast.RainMM).V > 0.1 {
				wet++
			}
		}
	}
	if share := float64(wet) / (40 * 17 * 24); share < 0.02 || share > 0.5 {
		t.Errorf("%.3f of the hours are wet", share)
	}
}

func TestCellsAreDistinct(t *testing.T) {
	seen := map[place.Cell]bool{}
	for _, c := range load.Cells(2000) {
		seen[place.CellOf(c[0], c[1])] = true
	}
	if len(seen) != 2000 {
		t.Errorf("%d cells of 2000 places", len(seen))
	}
}

func get(t *testing.T, url string) int {
	t.Helper()
	resp, err := http.Get(url + "/v1/forecast?latitude=50&longitude=8&hourly=temperature_2m&forecast_days=2")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if _, err := io.Copy(io.Discard, resp.Body); err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode
}

func TestTooManyAMinuteIsABreach(t *testing.T) {
	p, url := serve(t, load.Config{Limits: forecast.Limits{PerMinute: 3}, Now: clock})
	for i, want := range []int{200, 200, 200, 429} {
		if got := get(t, url); got != want {
			t.Errorf("request %d: %d, want %d", i, got, want)
		}
	}
	if f := p.Figures(); f.Breaches != 1 || f.Answered != 3 || f.Repeated != 1 {
		t.Errorf("%+v", f)
	}
}

func TestTwoAtOnceIsABreach(t *testing.T) {
	p, url := serve(t, load.Config{Limits: forecast.Limits{AtOnce: 1}, Hangs: 1})
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 2)
	for range 2 {
		req, err := http.NewRequestWithContext(ctx, http.MethodGet,
			url+"/v1/forecast?latitude=50&longitude=8&hourly=temperature_2m", nil)
		if err != nil {
			t.Fatal(err)
		}
		go func() {
			resp, err := http.DefaultClient.Do(req)
			if err == nil {
				resp.Body.Close()
			}
			ended <- err
		}()
	}
	if err := <-ended; err != nil { // one hangs, the other is refused
		t.Fatal(err)
	}
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("the first ended with %v", err)
	}
	if f := p.Figures(); f.Breaches != 1 || f.Hangs != 1 {
		t.Errorf("%+v", f)
	}
}

// Every error that is answered is one that the service sees through.
func TestErrorsAreErrors(t *testing.T) {
	p, url := serve(t, load.Config{Errors: 1, Now: clock})
	feed, err := openmeteo.New(openmeteo.Config{BaseURL: url, Timeout: patient})
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[fault.Kind]bool{}
	for _, c := range load.Cells(40) {
		_, err := feed.Fetch(context.Background(), place.CellOf(c[0], c[1]), "", now)
		if err == nil {
			t.Fatal("an error was believed")
		}
		kinds[fault.KindOf(err)] = true
	}
	if f := p.Figures(); f.Errors != 40 || f.Answered != 0 || !kinds[fault.Invalid] || !kinds[fault.Unavailable] {
		t.Errorf("%+v, kinds %v", f, kinds)
	}
	resp, err := http.Get(url + "/figures")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var f load.Figures
	if err := json.NewDecoder(resp.Body).Decode(&f); err != nil || f.Errors != 40 {
		t.Errorf("figures %+v, %v", f, err)
	}
}
