package metrics

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

func TestFiguresAreCountedByLabel(t *testing.T) {
	m := New()
	m.Job("replan", nil, 30*time.Millisecond)
	m.Job("replan", errors.New("no"), 2*time.Second)
	m.Plan(nil, 40*time.Millisecond)
	m.Feed("replay", nil, time.Millisecond)
	w := httptest.NewRecorder()
	m.Handler(func(*http.Request) []Gauge {
		return []Gauge{{Name: "x_jobs", Help: "x", Label: "state", Value: `a"b`, Figure: 3},
			{Name: "x_age", Help: "y", Figure: 0.5}}
	}).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	for _, want := range []string{
		`dryslot_job_seconds_bucket{kind="replan",outcome="ok",le="0.025"} 0`,
		`dryslot_job_seconds_bucket{kind="replan",outcome="ok",le="0.05"} 1`,
		`dryslot_job_seconds_sum{kind="replan",outcome="error"} 2`, `dryslot_plan_seconds_count{outcome="ok"} 1`,
		`dryslot_feed_seconds_count{feed="replay",outcome="ok"} 1`, `x_jobs{state="a\"b"} 3`, `x_age 0.5`,
	} {
		if !strings.Contains(w.Body.String(), want+"\n") {
			t.Errorf("without %s", want)
		}
	}
}
