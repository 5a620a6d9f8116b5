// Package metrics owns the figures of one process in the Prometheus format:
// how long requests, jobs, plans and feed calls take, and Go's and the
// process's own. Labels take values of a bounded set only.
//
//	m := metrics.New()
//	m.Request("/v1/projects", "GET", 200, took)
//	http.Handle("/metrics", m.Handler(nil))
package metrics

import (
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Metrics counts and times what one process does. It is safe for use by
// several goroutines.
type Metrics struct {
	registry                     *prometheus.Registry
	requests, jobs, plans, feeds *prometheus.HistogramVec
}

// New returns metrics with nothing counted yet.
func New() *Metrics {
	// From a read of one row to the longest request and job that is allowed.
	buckets := []float64{0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 20, 30}
	m := &Metrics{registry: prometheus.NewRegistry()}
	histogram := func(name, help string, labels ...string) *prometheus.HistogramVec {
		h := prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: name, Help: help, Buckets: buckets}, labels)
		m.registry.MustRegister(h)
		return h
	}
	m.requests = histogram("dryslot_http_request_seconds", "Time that requests took, in seconds.", "route", "method",
		"status")
	m.jobs = histogram("dryslot_job_seconds", "Time that queued jobs took, in seconds.", "kind", "outcome")
	m.plans = histogram("dryslot_plan_seconds", "Time that planning took, in seconds.", "outcome")
	m.feeds = histogram("dryslot_feed_seconds", "Time that feeds took to answer, in seconds.", "feed", "outcome")
	m.registry.MustRegister(collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// Request notes an answered request, by its route's pattern.
func (m *Metrics) Request(route, method string, status int, took time.Duration) {
	m.requests.WithLabelValues(route, method, strconv.Itoa(status)).Observe(took.Seconds())
}

// Job notes a job of a kind that was worked.
func (m *Metrics) Job(kind string, err error, took time.Duration) {
	m.jobs.WithLabelValues(kind, outcome(err)).Observe(took.Seconds())
}

// Plan notes one call of the planner.
func (m *Metrics) Plan(err error, took time.Duration) {
	m.plans.WithLabelValues(outcome(err)).Observe(took.Seconds())
}

// Feed notes one call of a feed.
func (m *Metrics) Feed(name string, err error, took time.Duration) {
	m.feeds.WithLabelValues(name, outcome(err)).Observe(took.Seconds())
}

func outcome(err error) string {
	if err != nil {
		return "error"
	}
	return "ok"
}

// Gauge is a figure read when it is asked for.
type Gauge struct {
	Name, Help   string
	Label, Value string // one label; an empty Label: none
	Figure       float64
}

// Handler answers all figures, and those that read returns. read may be nil.
func (m *Metrics) Handler(read func(*http.Request) []Gauge) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		all := prometheus.Gatherers{m.registry}
		if read != nil {
			now := prometheus.NewRegistry()
			now.MustRegister(gauges(read(r)))
			all = append(all, now)
		}
		promhttp.HandlerFor(all, promhttp.HandlerOpts{DisableCompression: true}).ServeHTTP(w, r)
	})
}

// gauges hands figures that were read to the registry.
type gauges []Gauge

// Describe describes nothing: which figures there are is known when they are read.
func (gauges) Describe(chan<- *prometheus.Desc) {}

// Collect hands the figures on.
func (g gauges) Collect(to chan<- prometheus.Metric) {
	for _, x := range g {
		var names, values []string
		if x.Label != "" {
			names, values = []string{x.Label}, []string{x.Value}
		}
		to <- prometheus.MustNewConstMetric(prometheus.NewDesc(x.Name, x.Help, names, nil), prometheus.GaugeValue,
			x.Figure, values...)
	}
}
