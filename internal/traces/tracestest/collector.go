// Package tracestest is a collector of spans on the loopback.
package tracestest

import (
	"compress/gzip"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	trace "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/protobuf/proto"
)

// Span is a span as it came.
type Span struct {
	Trace, ID, Parent, Name string
	Attributes              map[string]string
	Texts                   []string // events with their attributes, and what its status says
	Failed                  bool
}

// Collector keeps the spans that were sent to it.
type Collector struct {
	URL   string
	mu    sync.Mutex
	spans []Span
}

// Start starts a collector, and stops it when the test ends.
func Start(t *testing.T) *Collector {
	c := &Collector{}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := c.take(r); err != nil {
			t.Error(err)
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		w.Header().Set("Content-Type", "application/x-protobuf")
	}))
	t.Cleanup(srv.Close)
	c.URL = srv.URL
	return c
}

func (c *Collector) take(r *http.Request) error {
	if r.URL.Path != "/v1/traces" || r.Header.Get("Content-Type") != "application/x-protobuf" {
		return fmt.Errorf("spans came to %s as %s", r.URL.Path, r.Header.Get("Content-Type"))
	}
	body := io.Reader(r.Body)
	if r.Header.Get("Content-Encoding") == "gzip" {
		unpacked, err := gzip.NewReader(r.Body)
		if err != nil {
			return err
		}
		body = unpacked
	}
	b, err := io.ReadAll(body)
	if err != nil {
		return err
	}
	var sent collector.ExportTraceServiceRequest
	if err := proto.Unmarshal(b, &sent); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, of := range sent.GetResourceSpans() {
		service := ""
		for _, a := range of.GetResource().GetAttributes() {
			if a.GetKey() == "service.name" {
				service = a.GetValue().GetStringValue()
			}
		}
		for _, scope := range of.GetScopeSpans() {
			for _, s := range scope.GetSpans() {
				c.spans = append(c.spans, read(service, s))
			}
		}
	}
	return nil
}

// read reads a span of a service.
func read(service string, s *trace.Span) Span {
	span := Span{Trace: hex.EncodeToString(s.GetTraceId()), ID: hex.EncodeToString(s.GetSpanId()),
		Parent: hex.EncodeToString(s.GetParentSpanId()), Name: s.GetName(),
		Attributes: map[string]string{"service.name": service}, Failed: s.GetStatus().GetCode() == 2}
	for _, a := range s.GetAttributes() {
		span.Attributes[a.GetKey()] = a.GetValue().String()
	}
	for _, e := range s.GetEvents() {
		span.Texts = append(span.Texts, e.String())
	}
	if m := s.GetStatus().GetMessage(); m != "" {
		span.Texts = append(span.Texts, m)
	}
	return span
}

// Spans are those that came so far.
func (c *Collector) Spans() []Span {
	c.mu.Lock()
	defer c.mu.Unlock()
	return append([]Span(nil), c.spans...)
}
