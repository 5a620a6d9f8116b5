package api

import (
	"net/http"
	"testing"
	"time"

	"dryslot/internal/accounts"
	"dryslot/internal/web"
	"dryslot/internal/web/webtest"
)

func newHouse(t *testing.T) *webtest.House {
	t.Helper()
	return webtest.New(t, handler)
}

func people(h *webtest.House) *accounts.Service {
	return &accounts.Service{Store: h.Store, Wall: time.Now}
}

func handler(h *webtest.House, o web.Options) http.Handler {
	return web.New(o, Routes(Services{Projects: h.Projects, Alerts: h.Alerts, Forecasts: h.Fetching,
		Accounts: people(h)}, h.Rows()))
}
