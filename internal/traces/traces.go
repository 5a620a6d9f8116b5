// Package traces owns the spans of requests, jobs, statements and calls of feeds, and
// sends them to a collector by OTLP over HTTP (OpenTelemetry). Spans hold names of
// routes, kinds and statements without their values: no key, address or place.
//
//	t, err := traces.New(ctx, traces.Options{Endpoint: "http://127.0.0.1:4318", Service: "dryslot-api"})
//	defer t.Stop(ctx)
//	ctx, end := t.Span(ctx, "plan")
//	end(err)
package traces

import (
	"context"
	"fmt"
	"log/slog"
	"net/url"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/sdk/resource"
	"go.opentelemetry.io/otel/sdk/trace"
	api "go.opentelemetry.io/otel/trace"
	"go.opentelemetry.io/otel/trace/noop"
)

// Provider is what libraries make their spans by.
type Provider = api.TracerProvider

// Options say where spans go.
type Options struct {
	Endpoint string       // base address of the collector; spans go to /v1/traces below it
	Service  string       // name of this program, unless OTEL_SERVICE_NAME gives another
	Share    float64      // of requests and jobs that are traced, from 0 to 1
	Log      *slog.Logger // takes what the collector refused
}

// Traces makes spans. Nil makes none.
type Traces struct {
	provider *trace.TracerProvider
	tracer   api.Tracer
}

// New begins to send spans. Headers, certificates and the like are those of the
// standard's environment (OTEL_EXPORTER_OTLP_HEADERS and so on). A collector that
// does not answer holds nothing up: spans are dropped.
func New(ctx context.Context, o Options) (*Traces, error) {
	address, err := url.JoinPath(o.Endpoint, "v1", "traces")
	if err != nil {
		return nil, fmt.Errorf("traces: address of the collector: %w", err)
	}
	exporter, err := otlptracehttp.New(ctx, otlptracehttp.WithEndpointURL(address))
	if err != nil {
		return nil, fmt.Errorf("traces: %w", err)
	}
	about, err := resource.Merge(resource.NewSchemaless(attribute.String("service.name", o.Service)),
		resource.Environment())
	if err != nil {
		return nil, fmt.Errorf("traces: %w", err)
	}
	p := trace.NewTracerProvider(trace.WithResource(about), trace.WithBatcher(logged{exporter, o.Log}),
		trace.WithSampler(trace.ParentBased(begun{trace.TraceIDRatioBased(o.Share)})))
	return &Traces{p, p.Tracer("dryslot")}, nil
}

// Stop sends what is left, for as long as ctx allows.
func (t *Traces) Stop(ctx context.Context) error {
	if t == nil {
		return nil
	}
	if err := t.provider.Shutdown(ctx); err != nil {
		return fmt.Errorf("traces: stop: %w", err)
	}
	return nil
}

// Provider makes the spans of libraries.
func (t *Traces) Provider() Provider {
	if t == nil {
		return noop.NewTracerProvider()
	}
	return t.provider
}

// Span begins a span within that of ctx. End ends it, with the error that it met.
func (t *Traces) Span(ctx context.Context, name string) (_ context.Context, end func(error)) {
	if t == nil {
		return ctx, func(error) {}
	}
	ctx, span := t.tracer.Start(ctx, name)
	return ctx, func(err error) {
		if err != nil {
			span.SetStatus(codes.Error, "")
		}
		span.End()
	}
}

// Request is a request as its span records it.
type Request struct {
	ID, Method, Route string
	Parent            string // traceparent of who sent it on (W3C Trace Context); empty: none
}

// Begin begins the span of a request. Id names its trace; it is empty where the
// request is not traced. End ends it, with the status of the answer.
func (t *Traces) Begin(ctx context.Context, r Request) (_ context.Context, id string, end func(status int)) {
	if t == nil {
		return ctx, "", func(int) {}
	}
	if r.Parent != "" {
		ctx = propagation.TraceContext{}.Extract(ctx, propagation.MapCarrier{"traceparent": r.Parent})
	}
	ctx, span := t.tracer.Start(ctx, r.Method+" "+r.Route, api.WithSpanKind(api.SpanKindServer),
		api.WithAttributes(attribute.String("http.request.method", r.Method), attribute.String("http.route", r.Route),
			attribute.String("dryslot.request", r.ID)))
	if span.IsRecording() {
		id = span.SpanContext().TraceID().String()
	}
	return ctx, id, func(status int) {
		span.SetAttributes(attribute.Int("http.response.status_code", status))
		if status >= 500 {
			span.SetStatus(codes.Error, "")
		}
		span.End()
	}
}

// begun samples traces that begin with a request or a job. The queue's own queries
// for jobs, several a second, are left out.
type begun struct{ trace.Sampler }

// ShouldSample implements trace.Sampler.
func (s begun) ShouldSample(p trace.SamplingParameters) trace.SamplingResult {
	if p.Kind != api.SpanKindServer && p.Kind != api.SpanKindConsumer {
		return trace.SamplingResult{Decision: trace.Drop}
	}
	return s.Sampler.ShouldSample(p)
}

// bare is a span without the texts of errors, which may hold values of a statement, a
// place or an address. The log has them.
type bare struct{ trace.ReadOnlySpan }

// Status implements trace.ReadOnlySpan.
func (b bare) Status() trace.Status { return trace.Status{Code: b.ReadOnlySpan.Status().Code} }

// Events implements trace.ReadOnlySpan.
func (bare) Events() []trace.Event { return nil }

// logged sends bare spans, and logs what can't be sent instead of writing it to the
// standard error.
type logged struct {
	trace.SpanExporter
	log *slog.Logger
}

// ExportSpans implements trace.SpanExporter.
func (l logged) ExportSpans(ctx context.Context, spans []trace.ReadOnlySpan) error {
	sent := make([]trace.ReadOnlySpan, len(spans))
	for i, s := range spans {
		sent[i] = bare{s}
	}
	if err := l.SpanExporter.ExportSpans(ctx, sent); err != nil {
		l.log.WarnContext(ctx, "spans were not sent", "spans", len(spans), "error", err)
	}
	return nil
}
