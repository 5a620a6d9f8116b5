package traces_test

import (
	"bytes"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"go.opentelemetry.io/otel/codes"

	"dryslot/internal/logs"
	"dryslot/internal/traces"
	"dryslot/internal/traces/tracestest"
)

// What an error says stays here: a span tells only that there was one.
func TestASpanTellsNoError(t *testing.T) {
	c := tracestest.Start(t)
	s, err := traces.New(t.Context(), traces.Options{Endpoint: c.URL + "/", Service: "test", Share: 1})
	if err != nil {
		t.Fatal(err)
	}
	secret := errors.New("no answer for s3cret")
	ctx, id, end := s.Begin(t.Context(), traces.Request{ID: "r", Method: "GET", Route: "/x"})
	_, endPart := s.Span(ctx, "part")
	_, theirs := s.Provider().Tracer("a library").Start(ctx, "theirs")
	theirs.RecordError(secret)
	theirs.SetStatus(codes.Error, secret.Error())
	theirs.End()
	endPart(secret)
	end(http.StatusServiceUnavailable)
	if err := s.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	all := c.Spans()
	if len(all) != 3 {
		t.Fatalf("%d spans", len(all))
	}
	for _, span := range all {
		if !span.Failed || span.Trace != id || len(span.Texts) > 0 {
			t.Errorf("%+v", span)
		}
	}
}

func TestWhichTracesAreMade(t *testing.T) {
	const theirs = "0af7651916cd43dd8448eb211c80319c"
	for _, c := range []struct {
		share         float64
		parent, trace string // trace is empty: none
	}{
		{share: 0}, {share: 0, parent: "00-" + theirs + "-b7ad6b7169203331-01", trace: theirs},
		{share: 1, parent: "00-" + theirs + "-b7ad6b7169203331-00"}, // it is not traced where it began
		{share: 1, trace: "any"}, {share: 1, parent: "nonsense", trace: "any"},
	} {
		got := tracestest.Start(t)
		s, err := traces.New(t.Context(), traces.Options{Endpoint: got.URL, Service: "test", Share: c.share})
		if err != nil {
			t.Fatal(err)
		}
		_, id, end := s.Begin(t.Context(), traces.Request{Method: "GET", Route: "/x", Parent: c.parent})
		end(http.StatusOK)
		_, alone := s.Span(t.Context(), "of no request and no job")
		alone(nil)
		if err := s.Stop(t.Context()); err != nil {
			t.Fatal(err)
		}
		if c.trace == "any" {
			c.trace = id
		}
		if id != c.trace || (len(got.Spans()) == 1) != (c.trace != "") || len(got.Spans()) > 1 {
			t.Errorf("%+v: %d spans of trace %q", c, len(got.Spans()), id)
		}
	}
}

func TestACollectorThatRefusesIsLogged(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "no", http.StatusForbidden)
	}))
	defer srv.Close()
	var log bytes.Buffer
	s, err := traces.New(t.Context(), traces.Options{Endpoint: srv.URL, Service: "test", Share: 1,
		Log: logs.New(&log, logs.JSON, slog.LevelInfo)})
	if err != nil {
		t.Fatal(err)
	}
	_, _, end := s.Begin(t.Context(), traces.Request{Method: "GET", Route: "/x"})
	end(http.StatusOK)
	if err := s.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(log.String(), "spans were not sent") {
		t.Errorf("logged: %s", &log)
	}
}

// Where nobody wants traces none are made, and nothing else changes.
func TestNoTraces(t *testing.T) {
	var none *traces.Traces
	ctx, id, end := none.Begin(t.Context(), traces.Request{})
	inner, endPart := none.Span(ctx, "part")
	endPart(nil)
	end(http.StatusOK)
	if id != "" || inner != t.Context() || none.Stop(t.Context()) != nil {
		t.Error("something was made")
	}
	if _, span := none.Provider().Tracer("x").Start(t.Context(), "y"); span.IsRecording() {
		t.Error("a span is made")
	}
}
