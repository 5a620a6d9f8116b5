package webtest

import (
	"bytes"
	"fmt"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// Described checks answers and bodies against an OpenAPI 3.1 document, whose
// schemas are JSON Schema (2020-12).
type Described struct {
	doc      map[string]any
	compiler *jsonschema.Compiler
}

// base is what the document is called while its schemas are compiled.
const base = "http://dryslot.example/openapi.json"

// Describe reads an OpenAPI document.
func Describe(t testing.TB, document []byte) *Described {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(document))
	if err != nil {
		t.Fatalf("the OpenAPI document can't be read: %v", err)
	}
	d := &Described{doc: v.(map[string]any), compiler: jsonschema.NewCompiler()}
	d.compiler.DefaultDraft(jsonschema.Draft2020)
	d.compiler.AssertFormat()
	if err := d.compiler.AddResource(base, v); err != nil {
		t.Fatalf("the OpenAPI document can't be used: %v", err)
	}
	return d
}

// operation finds the operation of a request with its place in the document;
// known reports whether the path is there at all.
func (d *Described) operation(method, target string) (op map[string]any, at string, known bool) {
	path, _, _ := strings.Cut(target, "?")
	given := strings.Split(path, "/")
	for form, item := range d.doc["paths"].(map[string]any) {
		parts := strings.Split(form, "/")
		same := len(parts) == len(given)
		for i := 0; same && i < len(parts); i++ {
			same = parts[i] == given[i] || strings.HasPrefix(parts[i], "{") && given[i] != ""
		}
		if !same {
			continue
		}
		known = true
		if method == http.MethodHead {
			method = http.MethodGet
		}
		if op, ok := item.(map[string]any)[strings.ToLower(method)].(map[string]any); ok {
			return op, "/paths/" + strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D").Replace(form) +
				"/" + strings.ToLower(method), true
		}
	}
	return nil, "", known
}

// Answer returns how an answer departs from the document. A path that the
// document does not have is answered 404, a method that a path has not 405,
// each by a problem.
func (d *Described) Answer(method, target string, status int, header http.Header, body string) error {
	op, at, known := d.operation(method, target)
	if op == nil {
		if want := map[bool]int{false: http.StatusNotFound, true: http.StatusMethodNotAllowed}[known]; status != want &&
			status != http.StatusNoContent {
			return fmt.Errorf("%s %s is not described, and was answered %d", method, target, status)
		}
		return d.problem(status, body)
	}
	responses := op["responses"].(map[string]any)
	code := strconv.Itoa(status)
	response, ok := responses[code].(map[string]any)
	if !ok {
		code = "default"
		if response, ok = responses[code].(map[string]any); !ok || status < 400 {
			return fmt.Errorf("%s %s: the status %d is not described", method, target, status)
		}
	}
	for name, h := range asMap(response["headers"]) {
		if asMap(h)["required"] == true && header.Get(name) == "" {
			return fmt.Errorf("%s %s: the header %s is described and was not given", method, target, name)
		}
	}
	content := asMap(response["content"])
	if method == http.MethodHead || len(content) == 0 {
		if body != "" {
			return fmt.Errorf("%s %s: a body is not described", method, target)
		}
		return nil
	}
	kind, _, err := mime.ParseMediaType(header.Get("Content-Type"))
	if err != nil || content[kind] == nil {
		return fmt.Errorf("%s %s: the type %q is not described", method, target, header.Get("Content-Type"))
	}
	if asMap(content[kind])["schema"] == nil || !strings.HasSuffix(kind, "json") {
		return nil
	}
	return d.Valid(at+"/responses/"+code+"/content/"+strings.NewReplacer("/", "~1", "+", "%2B").Replace(kind)+"/schema",
		body)
}

// Body returns how a request's JSON body departs from the document. Of a body of
// another type nothing is described but the type.
func (d *Described) Body(method, target, body string) error {
	op, at, _ := d.operation(method, target)
	for kind := range asMap(asMap(op["requestBody"])["content"]) {
		if !strings.HasSuffix(kind, "json") {
			return nil
		}
		return d.Valid(at+"/requestBody/content/"+strings.NewReplacer("/", "~1", "+", "%2B").Replace(kind)+"/schema",
			body)
	}
	return nil
}

func (d *Described) problem(status int, body string) error {
	if status < 400 || body == "" {
		return nil
	}
	return d.Valid("/components/schemas/Problem", body)
}

// Valid returns how a JSON text departs from the schema at a place in the
// document.
func (d *Described) Valid(at, body string) error {
	schema, err := d.compiler.Compile(base + "#" + at)
	if err != nil {
		return fmt.Errorf("the schema at %s: %w", at, err)
	}
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(body))
	if err != nil {
		return err
	}
	return schema.Validate(v)
}

func asMap(v any) map[string]any {
	m, _ := v.(map[string]any)
	return m
}
