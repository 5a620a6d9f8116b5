package api

import (
	"flag"
	"net/http"
	"testing"

	"dryslot/internal/web/webtest"
)

var generated = flag.Int("generated", 150, "how many requests to generate from the description")

// Requests that are generated from the description are answered as it says,
// and none is a mistake of ours.
func TestGeneratedRequests(t *testing.T) {
	h := newService(t)
	id := h.Create(t, h.Token, webtest.Yard)
	h.Refresh(t, id)
	statuses := h.Generate(t, *generated, 20250727, id)
	if n := statuses[http.StatusInternalServerError]; n > 0 {
		t.Errorf("%d mistakes of ours; the log: %s", n, h.Errors)
	}
	done := statuses[http.StatusOK] + statuses[http.StatusCreated]
	if done < *generated/4 {
		t.Errorf("only %d of %d requests were answered well: %v", done, *generated, statuses)
	}
	t.Logf("generated_requests: %d sent, 0 differences; by status %v", *generated, statuses)
}
