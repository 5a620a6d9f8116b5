package api

import (
	"net/http"

	"github.com/danielgtaylor/huma/v2"
)

// describeMachines adds the machines' routes to the description.
func (s *server) describeMachines() {
	for path, summary := range map[string]string{"/healthz": "Alive", "/readyz": "Ready: the database answers and is migrated",
		"/metrics": "Figures in the Prometheus text format", "/openapi.json": "This description"} {
		kind := "text/plain"
		if path == "/openapi.json" {
			kind = "application/json"
		}
		s.api.OpenAPI().AddOperation(&huma.Operation{Method: http.MethodGet, Path: path, Summary: summary, OperationID: path[1:],
			Security:  []map[string][]string{},
			Responses: map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{kind: {}}}, "default": s.problemResponse()}})
	}
}
