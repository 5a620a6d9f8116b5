package pages

import (
	"encoding/json"
	"net/http"
	"testing"

	"dryslot/internal/pour"
	"dryslot/internal/web"
	"dryslot/internal/web/api"
	"dryslot/internal/web/webtest"
)

func newService(t *testing.T) *webtest.Service {
	t.Helper()
	return webtest.New(t, func(h *webtest.Service, o web.Options) http.Handler {
		return web.New(o, api.Routes(api.Services{Projects: h.Projects, Alerts: h.Alerts, Forecasts: h.Fetching,
			Accounts: h.People}, h.Rows()))
	})
}

func parse(t *testing.T, body string) *pour.Node {
	t.Helper()
	n, err := pour.Parse([]byte(body))
	if err != nil {
		t.Fatalf("%v in %.300s", err, body)
	}
	return n
}

// text writes a document back.
func text(n *pour.Node) string {
	b, err := json.Marshal(n)
	if err != nil {
		return err.Error()
	}
	return string(b)
}

// bodies are what the routes that read it before they look for the project need,
// by the end of their paths.
var bodies = map[string]string{"/photos": "--x--\r\n", "/invitations": `{"role":"viewer"}`,
	"/recipients": `{"kind":"webhook","address":"https://hooks.example.org/x"}`}
