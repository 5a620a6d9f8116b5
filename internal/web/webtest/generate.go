package webtest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"
)

// Generator makes requests from an OpenAPI document alone: of every operation,
// with parameters, headers and bodies that its schemas allow, and with some
// that they don't.
type Generator struct {
	doc   map[string]any
	rand  *rand.Rand
	ops   []generated
	known map[string][]string // by parameter of a path: values that there are
}

// generated is one operation of the document.
type generated struct {
	method, path string
	op           map[string]any
}

// mostProjects is how many projects there are at a time: requests are to meet.
const mostProjects = 12

// Generate runs n generated requests, drawn by seed. Every answer is compared
// with the document; what the document allows is never answered 400, which is
// for what can't be read. Projects that are there are asked too. It returns how many requests were answered by status.
func (h *Service) Generate(t *testing.T, n int, seed uint64, projects ...string) map[int]int {
	t.Helper()
	a := h.Must(t, http.StatusOK, "GET", "/openapi.json", "")
	g := &Generator{rand: rand.New(rand.NewPCG(seed, 1)), known: map[string][]string{
		"date": {"today", "tomorrow", h.Now.Format(time.DateOnly)}, "n": {"1", "2"}, "id": projects}}
	if err := json.Unmarshal([]byte(a.Body), &g.doc); err != nil {
		t.Fatal(err)
	}
	paths := asMap(g.doc["paths"])
	for _, path := range slices.Sorted(maps.Keys(paths)) {
		for _, method := range slices.Sorted(maps.Keys(asMap(paths[path]))) {
			if strings.HasPrefix(path, "/v1/") {
				g.ops = append(g.ops, generated{strings.ToUpper(method), path, asMap(asMap(paths[path])[method])})
			}
		}
	}
	statuses := map[int]int{}
	for range n {
		op := g.ops[g.rand.IntN(len(g.ops))]
		if len(g.known["id"]) < 2 {
			op = *g.find("POST", "/v1/projects")
		} else if op.method == "DELETE" && op.path == "/v1/projects/{id}" && len(g.known["id"]) < mostProjects {
			op = *g.find("PATCH", op.path)
		} else if op.path == "/v1/projects" && op.method == "POST" && len(g.known["id"]) >= mostProjects {
			op = *g.find("DELETE", "/v1/projects/{id}")
		}
		target, body, headers := g.request(op)
		got := h.Send(t, op.method, target, body, headers...)
		statuses[got.Status]++
		g.learn(op, target, got)
		if got.Status == http.StatusBadRequest && body != "" && h.described.Body(op.method, target, body) == nil {
			t.Errorf("%s %s: what the document allows can't be read: %s\n%.600s", op.method, target, got.Body, body)
		}
		if t.Failed() {
			t.Fatalf("seed %d: %s %s %q\n%.2000s", seed, op.method, target, headers, body)
		}
	}
	return statuses
}

func (g *Generator) find(method, path string) *generated {
	i := slices.IndexFunc(g.ops, func(o generated) bool { return o.method == method && o.path == path })
	return &g.ops[i]
}

// learn takes ids from answers, so that later requests find something.
func (g *Generator) learn(op generated, target string, a Answer) {
	var v struct{ ID string }
	switch {
	case a.Status == http.StatusCreated && op.path == "/v1/projects":
		if json.Unmarshal([]byte(a.Body), &v) == nil && !slices.Contains(g.known["id"], v.ID) {
			g.known["id"] = append(g.known["id"], v.ID)
		}
	case a.Status == http.StatusCreated && strings.HasSuffix(op.path, "/photos"):
		if json.Unmarshal([]byte(a.Body), &v) == nil {
			g.known["pid"] = append(g.known["pid"], v.ID)
		}
	case a.Status == http.StatusCreated && strings.HasSuffix(op.path, "/recipients"):
		if json.Unmarshal([]byte(a.Body), &v) == nil {
			g.known["rid"] = append(g.known["rid"], v.ID)
		}
	case op.path == "/v1/projects/{id}" && (a.Status == http.StatusNoContent || a.Status == http.StatusNotFound):
		// Gone, or answered once more under its Idempotency-Key.
		g.known["id"] = slices.DeleteFunc(g.known["id"], func(id string) bool { return strings.HasSuffix(target, id) })
	}
}

// request makes one request of an operation.
func (g *Generator) request(op generated) (target, body string, headers []string) {
	target = op.path
	query := url.Values{}
	parameters, _ := op.op["parameters"].([]any)
	for _, p := range parameters {
		p := asMap(p)
		name, _ := p["name"].(string)
		if p["required"] != true && g.chance(0.5) {
			continue
		}
		value := g.parameter(name, asMap(p["schema"]))
		switch p["in"] {
		case "path":
			target = strings.ReplaceAll(target, "{"+name+"}", url.PathEscape(value))
		case "query":
			query.Set(name, value)
		case "header":
			headers = append(headers, name, strings.Map(visible, value))
		}
	}
	if len(query) > 0 {
		target += "?" + query.Encode()
	}
	content := asMap(asMap(op.op["requestBody"])["content"])
	for _, kind := range slices.Sorted(maps.Keys(content)) {
		media := content[kind]
		if !strings.HasSuffix(kind, "json") {
			return target, g.picture(), append(headers, "Content-Type", kind)
		}
		value := g.value(asMap(media)["schema"], 0)
		if example, ok := asMap(media)["example"]; ok && g.chance(0.8) {
			value = g.vary(clone(example), asMap(media)["schema"])
		}
		b, err := json.Marshal(value)
		if err != nil {
			panic(err) // of our own values
		}
		body, headers = string(b), append(headers, "Content-Type", kind)
	}
	return target, body, headers
}

// picture is a photo, whole or cut off.
func (g *Generator) picture() string {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 1+g.rand.IntN(40), 1+g.rand.IntN(40))), nil); err != nil {
		panic(err) // of our own picture
	}
	if g.chance(0.3) {
		b.Truncate(g.rand.IntN(b.Len()))
	}
	return b.String()
}

// parameter makes a value of a parameter: one that is known, one that its
// schema allows, or anything.
func (g *Generator) parameter(name string, schema map[string]any) string {
	if known := g.known[name]; len(known) > 0 && g.chance(0.9) {
		return known[g.rand.IntN(len(known))]
	}
	if name == "If-Match" && g.chance(0.8) {
		return "*"
	}
	if g.chance(0.1) {
		return []string{"NaN", "-1", "1e999", "a b", "00000000-0000-0000-0000-000000000000", "%", "ü",
			"0"}[g.rand.IntN(8)]
	}
	switch v := g.value(schema, 0).(type) {
	case string:
		if v != "" {
			return v
		}
		return "x"
	default:
		return fmt.Sprint(v)
	}
}

// visible keeps what a client lets into a header.
func visible(r rune) rune {
	if r < ' ' {
		return '?'
	}
	return r
}

func (g *Generator) chance(p float64) bool { return g.rand.Float64() < p }
