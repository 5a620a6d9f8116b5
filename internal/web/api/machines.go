package api

import (
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"dryslot/internal/notify"
)

// describeMachines adds the machines' routes to the description.
func (s *server) describeMachines() {
	paths := map[string]string{"/openapi.json": "This description"}
	if !s.OwnProbes {
		paths["/healthz"] = "Alive"
		paths["/readyz"] = "Ready: the database answers and is migrated, and the service is not about to stop"
		paths["/metrics"] = "Figures in the Prometheus text format"
	}
	for path, summary := range paths {
		kind := "text/plain"
		if path == "/openapi.json" {
			kind = "application/json"
		}
		s.api.OpenAPI().AddOperation(&huma.Operation{Method: http.MethodGet, Path: path, Summary: summary,
			OperationID: path[1:], Security: []map[string][]string{},
			Responses: map[string]*huma.Response{"200": {Description: "OK",
				Content: map[string]*huma.MediaType{kind: {}}}, "default": s.problemResponse()}})
	}
}

// describeWebhook adds what is posted to the webhooks of a project.
func (s *server) describeWebhook() {
	text := &huma.Schema{Type: huma.TypeString}
	header := func(name, means string) *huma.Param {
		return &huma.Param{Name: name, In: "header", Description: means, Required: true, Schema: text}
	}
	s.api.OpenAPI().Webhooks = map[string]*huma.PathItem{"alert": {Post: &huma.Operation{
		OperationID: "alert", Summary: "An alert, signed after Standard Webhooks",
		Parameters: []*huma.Param{header("webhook-id", "The same at every try of an alert"),
			header("webhook-timestamp", "Seconds since 1970 of this try"), header("webhook-signature",
				"v1, a comma and the signature in base64")},
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
			"application/json": {Schema: s.schemas.ref(reflect.TypeFor[notify.Payload](), position{use: forAnswer})}}},
		Responses: map[string]*huma.Response{
			"2XX": {Description: "Taken"}, "410": {Description: "No more alerts are wanted there"},
			"default": {Description: "Not taken: it is tried again"}},
	}}}
}
