package app_test

import (
	"bytes"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/postgres/postgrestest"
	"dryslot/internal/traces/tracestest"
)

// A request is one trace with its statements, a job another with its statements and
// its call of the feed; no span holds a value, a key, a place or an address.
func TestRequestsAndJobsAreTraced(t *testing.T) {
	doc, err := os.ReadFile("../../testdata/feeds/open-meteo/berlin_2025-07-27_168h_allparams_forecast.json")
	if err != nil {
		t.Fatal(err)
	}
	asked := make(chan struct{})
	once := sync.OnceFunc(func() { close(asked) })
	feed := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		_, _ = w.Write(doc)
		once()
	}))
	defer feed.Close()
	collector, db := tracestest.Start(t), postgrestest.URLs(t)
	const token, key = "a-token-that-is-long-enough-and-secret", "s3cret-key"
	const stranger = "0af7651916cd43dd8448eb211c80319c"
	out, stop := run(t, map[string]string{"DATABASE_URL": db.ServiceURL, "DATABASE_MIGRATE_URL": db.OwnerURL,
		"DRYSLOT_LISTEN": "127.0.0.1:0", "DRYSLOT_WORKER": "inline", "DRYSLOT_TOKEN": token,
		"DRYSLOT_CLOCK": "2025-07-27T20:00:00+02:00", "OPENMETEO_URL": feed.URL, "OPENMETEO_KEY": key,
		"OTEL_EXPORTER_OTLP_ENDPOINT": collector.URL}, false)
	base := atPages.FindStringSubmatch(out.String())[1]
	req, err := http.NewRequest("POST", base+"/v1/projects", bytes.NewReader([]byte(`{
		"name":"Secret yard","latitude":52.52,
		"longitude":13.42,"pads":[{"name":"A1","length_m":1.2,"width_m":0.9,"thickness_m":0.075}]}`)))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Traceparent", "00-"+stranger+"-b7ad6b7169203331-01") // not from a proxy of ours
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	resp.Body.Close()
	if err != nil || resp.StatusCode != http.StatusCreated {
		t.Fatalf("%d %v %s", resp.StatusCode, err, body)
	}
	if seen, err := http.Get(base + "/r/a-key-in-an-address"); err != nil {
		t.Fatal(err)
	} else {
		seen.Body.Close()
	}
	select {
	case <-asked:
	case <-time.After(10 * time.Minute): // a hang, not a slow machine
		t.Fatal("the feed is not asked")
	}
	stop() // which sends what is left

	spans := collector.Spans()
	named := func(name string) tracestest.Span {
		i := slices.IndexFunc(spans, func(s tracestest.Span) bool { return s.Name == name })
		if i < 0 {
			t.Fatalf("no span %q among %d: %v", name, len(spans), names(spans))
		}
		return spans[i]
	}
	within := func(root tracestest.Span, is func(tracestest.Span) bool) (n int) {
		for _, s := range spans {
			if s.Trace == root.Trace && s.ID != root.ID && is(s) {
				n++
			}
		}
		return n
	}
	statement := func(s tracestest.Span) bool { return s.Attributes["db.query.text"] != "" }
	feedCall := func(s tracestest.Span) bool { return s.Name == "feed open-meteo" }
	made := named("POST /v1/projects")
	if made.Parent != "" || made.Trace == stranger || within(made, statement) == 0 ||
		made.Attributes["dryslot.request"] == "" || made.Attributes["service.name"] != "dryslot-api" ||
		!strings.Contains(made.Attributes["http.response.status_code"], "201") {
		t.Errorf("the request is %+v, with %d statements", made, within(made, statement))
	}
	job := named("river.work/fetch_cell")
	if job.Parent != "" || within(job, statement) == 0 || within(job, feedCall) == 0 {
		t.Errorf("the job is %+v, with %d statements and %d calls of a feed", job, within(job, statement),
			within(job, feedCall))
	}
	for _, s := range spans {
		whole := strings.Join(append(s.Texts, s.Name), "\n")
		for name, value := range s.Attributes {
			whole += "\n" + name + "=" + value
		}
		for _, secret := range []string{token, key, "a-key-in-an-address", "Secret yard", "52.52", "127.0.0.1",
			feed.URL} {
			if strings.Contains(whole, secret) {
				t.Errorf("a span tells %q: %s", secret, whole)
			}
		}
		if s.Parent == "" && !strings.HasPrefix(s.Name, "river.work/") && s.Attributes["http.route"] == "" {
			t.Errorf("a trace begins with neither a request nor a job: %+v", s)
		}
	}
}

func names(spans []tracestest.Span) (all []string) {
	for _, s := range spans {
		all = append(all, s.Name)
	}
	return all
}
