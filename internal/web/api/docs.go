package api

import (
	"bytes"
	"cmp"
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"
)

//go:embed docs.html
var docsHTML string

// docsPolicy lets the page load nothing at all.
const docsPolicy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'; " +
	"form-action 'none'"

// docsPage is the description as people read it.
type docsPage struct {
	Title, Version, Text string
	Operations           []docsOperation
	Webhooks             []docsOperation
	Schemas              []docsSchema
}

type docsOperation struct {
	ID, Method, Path, Summary string
	Open                      bool // no token is needed
	Parameters                []docsField
	Bodies                    []docsContent
	Answers                   []docsAnswer
}

// docsField is a parameter or a property; Schema names the form to look up.
type docsField struct {
	Name, Where, Kind, Schema, Text string
	Required                        bool
}

type docsContent struct{ Type, Kind, Schema, Example string }

type docsAnswer struct {
	Status, Text string
	Headers      []docsField
	Contents     []docsContent
}

type docsSchema struct {
	Name, Text string
	Fields     []docsField
}

// docs serves the description as a page.
func (s *server) docs(e *echo.Echo) error {
	page, err := template.New("docs").Parse(docsHTML)
	if err != nil {
		return fmt.Errorf("api: the page of the description: %w", err)
	}
	var b bytes.Buffer
	if err := page.Execute(&b, newDocs(s.api.OpenAPI())); err != nil {
		return fmt.Errorf("api: the page of the description: %w", err)
	}
	body := b.Bytes()
	e.GET("/docs", func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("Content-Security-Policy", docsPolicy)
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-cache")
		return c.HTMLBlob(http.StatusOK, body)
	})
	return nil
}

// methodOrder is the order of a path's operations.
var methodOrder = []string{http.MethodGet, http.MethodPost, http.MethodPatch, http.MethodDelete}

func newDocs(doc *huma.OpenAPI) docsPage {
	out := docsPage{Title: doc.Info.Title, Version: doc.Info.Version, Text: doc.Info.Description}
	for _, path := range slices.Sorted(maps.Keys(doc.Paths)) {
		out.Operations = append(out.Operations, operationsOf(path, doc.Paths[path])...)
	}
	for _, name := range slices.Sorted(maps.Keys(doc.Webhooks)) {
		out.Webhooks = append(out.Webhooks, operationsOf(name, doc.Webhooks[name])...)
	}
	schemas := doc.Components.Schemas.Map()
	for _, name := range slices.Sorted(maps.Keys(schemas)) {
		schema := docsSchema{Name: name, Text: schemas[name].Description}
		for _, field := range slices.Sorted(maps.Keys(schemas[name].Properties)) {
			p := schemas[name].Properties[field]
			kind, ref := kindOf(p)
			schema.Fields = append(schema.Fields, docsField{Name: field, Kind: kind, Schema: ref, Text: p.Description,
				Required: slices.Contains(schemas[name].Required, field)})
		}
		out.Schemas = append(out.Schemas, schema)
	}
	return out
}

func operationsOf(path string, item *huma.PathItem) []docsOperation {
	var out []docsOperation
	for i, op := range []*huma.Operation{item.Get, item.Post, item.Patch, item.Delete} {
		if op == nil {
			continue
		}
		o := docsOperation{ID: op.OperationID, Method: methodOrder[i], Path: path, Summary: op.Summary,
			Open: op.Security != nil && len(op.Security) == 0}
		for _, p := range op.Parameters {
			o.Parameters = append(o.Parameters, parameterOf(p.Name, p))
		}
		if op.RequestBody != nil {
			o.Bodies = contentsOf(op.RequestBody.Content)
		}
		for _, status := range slices.Sorted(maps.Keys(op.Responses)) {
			r := op.Responses[status]
			a := docsAnswer{Status: status, Text: r.Description, Contents: contentsOf(r.Content)}
			for _, name := range slices.Sorted(maps.Keys(r.Headers)) {
				a.Headers = append(a.Headers, parameterOf(name, r.Headers[name]))
			}
			o.Answers = append(o.Answers, a)
		}
		out = append(out, o)
	}
	return out
}

func parameterOf(name string, p *huma.Param) docsField {
	kind, ref := kindOf(p.Schema)
	return docsField{Name: name, Where: p.In, Kind: kind, Schema: ref, Text: p.Description, Required: p.Required}
}

func contentsOf(content map[string]*huma.MediaType) []docsContent {
	var out []docsContent
	for _, kind := range slices.Sorted(maps.Keys(content)) {
		c := docsContent{Type: kind}
		c.Kind, c.Schema = kindOf(content[kind].Schema)
		if raw, ok := content[kind].Example.(json.RawMessage); ok {
			var b bytes.Buffer
			if json.Indent(&b, raw, "", "  ") == nil {
				c.Example = b.String()
			}
		}
		out = append(out, c)
	}
	return out
}

// kindOf says in a few words what a value is, and which schema says the rest.
func kindOf(s *huma.Schema) (kind, ref string) {
	if s == nil {
		return "", ""
	}
	if name, ok := strings.CutPrefix(s.Ref, "#/components/schemas/"); ok {
		return "", name
	}
	null := s.Nullable
	for _, part := range slices.Concat(s.AllOf, s.AnyOf) {
		if part.Type == "null" {
			null = true
			continue
		}
		kind, ref = kindOf(part)
	}
	if s.Items != nil {
		inner, of := kindOf(s.Items)
		kind, ref = strings.TrimSpace("list of "+inner), of
		if s.MaxItems != nil {
			kind = fmt.Sprintf("%s, %d at most", kind, *s.MaxItems)
		}
	} else if s.Type != "" {
		kind = cmp.Or(s.Format, s.Type)
	}
	var words []string
	for _, w := range s.Enum {
		if w != nil {
			words = append(words, fmt.Sprint(w))
		}
	}
	if len(words) > 0 {
		kind = "one of " + strings.Join(words, ", ")
	}
	if s.Minimum != nil && s.Maximum != nil {
		kind += " from " + figure(*s.Minimum) + " to " + figure(*s.Maximum)
	}
	if unit, ok := s.Extensions["x-unit"].(string); ok && unit != "1" {
		kind += " in " + unit
	}
	if null {
		kind += " or null"
	}
	return strings.TrimSpace(kind), ref
}

func figure(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
