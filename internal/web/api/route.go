package api

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"
	"github.com/labstack/echo/v4"

	"dryslot/internal/accounts"
	"dryslot/internal/pour"
	"dryslot/internal/web"
)

// reply is what a route answers when nothing is at fault.
type reply[B any] struct {
	Status   int    `json:"status"` // 0: the route's usual one
	ETag     string `json:"etag"`
	Location string `json:"location"`
	Body     *B     `json:"body"` // nil: none

	holds holding // of an answer that may be kept ready
}

// sent is a reply as handed to huma: encoded already, so that a value that
// can't be written is a problem and not half an answer.
type sent struct {
	Status      int
	ContentType string `header:"Content-Type"`
	ETag        string `header:"ETag"`

	ContentEncoding string `header:"Content-Encoding"`
	Location        string `header:"Location"`
	Link            string `header:"Link"`
	Body            []byte
}

// route describes one route of the API.
type route struct {
	method, path, id, summary string
	status                    int          // of the usual answer; 0: 200
	body                      reflect.Type // of the request, nil: none
	bodyOptional              bool
	takes                     []string       // media types of a body that is no JSON
	headers                   []string       // of the usual answer: ETag, Location
	tagged                    bool           // answers 304 to who has it already
	ready                     bool           // answers are kept as they are sent, and compressed here
	secret                    bool           // the answer holds a secret, which nobody on the way may keep
	also                      map[int]string // further statuses of answers of the same form
	role                      accounts.Role  // of a member that may ask; empty: a viewer to read, an owner to change
	stranger                  bool           // whoever has an account may ask
}

// Marks of operations: who may ask.
const (
	neededRole    = "role"
	strangerRoute = "stranger"
	takesRoute    = "takes" // media types of a body that is no JSON
)

// needed is the role that a member has to have.
func (r route) needed() accounts.Role {
	switch {
	case r.role != "":
		return r.role
	case r.method == http.MethodGet:
		return accounts.RoleViewer
	}
	return accounts.RoleOwner
}

// register registers the routes of the API and writes its description.
func (s *server) register(e *echo.Echo) {
	schemas := huma.NewMapRegistry("#/components/schemas/", nameSchema)
	s.api = humaecho.New(e, huma.Config{
		OpenAPI: &huma.OpenAPI{
			Info: &huma.Info{Title: "dryslot", Version: "1",
				Description: "When to pour, how many pads, and what the weather asks for. SI units; " +
					"times carry the project's offset; unknown is null."},
			Servers: []*huma.Server{{URL: "/", Description: "Where this description is"}},
			Components: &huma.Components{
				Schemas:         schemas,
				SecuritySchemes: map[string]*huma.SecurityScheme{"token": {Type: "http", Scheme: "bearer"}},
			},
			Security: []map[string][]string{{"token": {}}},
		},
		Formats: map[string]huma.Format{"application/json": huma.DefaultJSONFormat,
			"application/problem+json": huma.DefaultJSONFormat},
		DefaultFormat: "application/json",
		Transformers:  []huma.Transformer{asProblem},
	})
	s.schemas, s.examples = newSchemas(schemas.Map()), readExamples()
	s.api.UseMiddleware(s.guard)
	s.projectRoutes()
	s.weatherRoutes()
	s.planRoutes()
	s.logRoutes()
	s.photoRoutes()
	s.nowRoutes()
	s.recipientRoutes()
	s.concreteRoutes()
	s.takeoffRoutes()
	s.accountRoutes()
	s.memberRoutes()
	s.calendarRoutes()
	s.describeMachines()
	s.describeWebhook()
	for _, unused := range []string{"ErrorModel", "ErrorDetail"} { // huma's own, which nothing answers
		delete(s.api.OpenAPI().Components.Schemas.Map(), unused)
	}
	description, err := json.Marshal(s.api.OpenAPI())
	if err != nil {
		panic("web: the description can't be written: " + err.Error()) // a mistake of ours, at start
	}
	s.description = description
}

// handle registers one route. The handler's error may be of any kind.
func handle[I, B any](s *server, r route, fn func(ctx context.Context, c *call, in *I) (*reply[B], error)) {
	if r.status == 0 {
		r.status = http.StatusOK
	}
	if r.ready {
		s.PacksItself(r.method, strings.NewReplacer("{", ":", "}", "").Replace(r.path))
	}
	responses := map[string]*huma.Response{}
	huma.Register(s.api, huma.Operation{
		Method: r.method, Path: r.path, OperationID: r.id, Summary: r.summary, DefaultStatus: r.status,
		Responses: responses, SkipValidateParams: true, Metadata: map[string]any{secretRoute: r.secret,
			readyRoute: r.ready, neededRole: r.needed(), strangerRoute: r.stranger, takesRoute: r.takes},
	}, func(ctx context.Context, in *I) (*sent, error) {
		c := callOf(ctx)
		err := c.faults.Broken(QueryBreaksRule)
		var out *reply[B]
		// a query that is wrong has no effect, but all its faults are reported
		if err == nil || r.method == http.MethodGet {
			var further error
			out, further = fn(ctx, c, in)
			err = pour.Together(err, further)
		}
		if err == nil {
			var done *sent
			if done, err = out.encode(r.status); err == nil {
				if done.tag(r, c); r.ready && c.wanted != nil {
					done = s.keepReady(ctx, c, done, out.holds)
				}
				return done.conditional(r, c), nil
			}
		}
		p := web.ProblemOf(err)
		if p.Status >= http.StatusInternalServerError {
			s.Log.ErrorContext(ctx, "a request failed", "route", r.method+" "+r.path, "error", err)
		}
		return nil, p
	})
	describe[B](s, r, responses)
}

func (r *reply[B]) encode(usual int) (*sent, error) {
	out := &sent{Status: r.Status, ETag: r.ETag, Location: r.Location}
	if out.Status == 0 {
		out.Status = usual
	}
	if r.Body == nil {
		return out, nil
	}
	body, err := encode(r.Body)
	out.ContentType, out.Body = "application/json", body
	if l, ok := any(r.Body).(interface{ next() string }); ok {
		out.Link = l.next()
	}
	return out, err
}

func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return b.Bytes(), err
}

// describe writes into the description what huma can't see: the form of
// bodies that we read and write ourselves, and of problems.
func describe[B any](s *server, r route, responses map[string]*huma.Response) {
	answer := func(status int) {
		response := &huma.Response{Description: http.StatusText(status)}
		if status != http.StatusNoContent {
			response.Content = map[string]*huma.MediaType{"application/json": {
				Schema:  s.schemas.ref(reflect.TypeFor[B](), position{use: forAnswer}),
				Example: s.examples[r.id].answer(),
			}}
		}
		responses[strconv.Itoa(status)] = response
	}
	clear(responses)
	answer(r.status)
	given := append([]string{"Cache-Control"}, r.headers...)
	if r.tagged {
		given = append(given, "ETag")
	}
	if _, ok := any((*B)(nil)).(interface{ next() string }); ok {
		given = append(given, "Link")
	}
	responses[strconv.Itoa(r.status)].Headers = headers(given...)
	for status, words := range r.also {
		answer(status)
		responses[strconv.Itoa(status)].Description = words
	}
	if r.tagged {
		responses["304"] = &huma.Response{Description: "Nothing has changed since the answer of this ETag",
			Headers: headers("ETag")}
	}
	responses["default"] = s.problemResponse()
	item := s.api.OpenAPI().Paths[r.path]
	op := map[string]*huma.Operation{http.MethodGet: item.Get, http.MethodPost: item.Post, http.MethodPatch: item.Patch,
		http.MethodDelete: item.Delete}[r.method]
	if r.body != nil {
		kind, use := "application/json", forOrder
		if r.method == http.MethodPatch {
			kind, use = "application/merge-patch+json", forPatch
		}
		op.RequestBody = &huma.RequestBody{Required: !r.bodyOptional, Content: map[string]*huma.MediaType{
			kind: {Schema: s.schemas.ref(r.body, position{use: use}), Example: s.examples[r.id].body()}}}
	}
	if len(r.takes) > 0 {
		content := map[string]*huma.MediaType{}
		for _, kind := range r.takes {
			content[kind] = binaryBody()
		}
		op.RequestBody = &huma.RequestBody{Required: true, Content: content}
	}
	header := func(name, words string, required bool) {
		op.Parameters = append(op.Parameters, &huma.Param{Name: name, In: "header", Description: words,
			Required: required, Schema: &huma.Schema{Type: huma.TypeString}})
	}
	if r.tagged {
		header("If-None-Match", "The ETag of the answer that the client has: 304 where it still holds.", false)
	}
	switch r.method {
	case http.MethodPost:
		header("Idempotency-Key", "The same key and body within 24 hours get the same answer and have no second "+
			"effect.", false)
	case http.MethodPatch:
		header("If-Match", "The ETag of the project that the change is meant for, or *.", true)
	}
}

// binaryBody describes a body that is no text.
func binaryBody() *huma.MediaType {
	return &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
}

// headers describes headers of an answer.
func headers(names ...string) map[string]*huma.Header {
	means := map[string]string{
		"Cache-Control":    "no-store where the answer holds a secret, else private, no-cache",
		"ETag":             "For If-None-Match and, of a project, for If-Match; an age alone never changes it",
		"Link":             "The next part of a list (RFC 8288, rel=next); absent: this is the last",
		"Location":         "Where what was made is found",
		"Retry-After":      "Of 429 and 503: seconds until it is worth trying again",
		"WWW-Authenticate": "Of 401: how to give a token",
	}
	out := map[string]*huma.Header{}
	for _, name := range names {
		sometimes := name == "Link" || name == "Retry-After" || name == "WWW-Authenticate"
		out[name] = &huma.Header{Description: means[name], Required: !sometimes,
			Schema: &huma.Schema{Type: huma.TypeString}}
	}
	return out
}

// problemResponse describes what every error is answered with.
func (s *server) problemResponse() *huma.Response {
	form := s.schemas.ref(reflect.TypeFor[web.Problem](), position{use: forAnswer})
	return &huma.Response{Description: "A problem (RFC 9457)", Headers: headers("Retry-After", "WWW-Authenticate"),
		Content: map[string]*huma.MediaType{"application/problem+json": {Schema: form}}}
}

// inZone gives every instant within v, which must be a pointer, the zone's
// offset. Pointers are replaced, not written through: others may hold them.
func inZone(v any, zone *time.Location) { localise(reflect.ValueOf(v).Elem(), zone) }

func localise(v reflect.Value, zone *time.Location) {
	switch v.Kind() {
	case reflect.Struct:
		if t, ok := v.Interface().(time.Time); ok {
			if !t.IsZero() {
				v.Set(reflect.ValueOf(t.In(zone)))
			}
			return
		}
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				localise(v.Field(i), zone)
			}
		}
	case reflect.Pointer:
		if v.IsNil() {
			return
		}
		fresh := reflect.New(v.Type().Elem())
		fresh.Elem().Set(v.Elem())
		localise(fresh.Elem(), zone)
		v.Set(fresh)
	case reflect.Slice:
		if v.IsNil() {
			return
		}
		fresh := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		reflect.Copy(fresh, v)
		for i := range fresh.Len() {
			localise(fresh.Index(i), zone)
		}
		v.Set(fresh)
	}
}
