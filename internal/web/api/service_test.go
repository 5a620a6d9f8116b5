package api

import (
	"net/http"
	"testing"

	"dryslot/internal/web"
	"dryslot/internal/web/webtest"
)

func newService(t *testing.T) *webtest.Service {
	t.Helper()
	return webtest.New(t, handler)
}

func handler(h *webtest.Service, o web.Options) http.Handler {
	return web.New(o, Routes(Services{Projects: h.Projects, Alerts: h.Alerts, Forecasts: h.Fetching,
		Accounts: h.People}, h.Rows()))
}
