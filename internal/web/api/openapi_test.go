package api

import (
	"encoding/json"
	"flag"
	"maps"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"dryslot/internal/web/webtest"

	"dryslot/internal/web"
)

func description(t *testing.T) map[string]any {
	t.Helper()
	w := httptest.NewRecorder()
	web.New(web.Options{Store: barren{}, Clock: time.Now}, Routes(Services{}, barren{})).ServeHTTP(w,
		httptest.NewRequest("GET", "/openapi.json", nil))
	var doc map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	return doc
}

// Every property says what it means.
func TestEveryPropertyIsDescribed(t *testing.T) {
	parts := description(t)["components"].(map[string]any)["schemas"].(map[string]any)
	all := 0
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		properties, _ := parts[name].(map[string]any)["properties"].(map[string]any)
		for _, p := range slices.Sorted(maps.Keys(properties)) {
			all++
			if words, _ := properties[p].(map[string]any)["description"].(string); words == "" {
				t.Errorf("%s.%s is not described", name, p)
			}
		}
	}
	t.Logf("%d properties", all)
}

var update = flag.Bool("update", false, "write the examples of the description anew")

// keepExamples writes what the operations took and answered, where asked to.
func keepExamples(t *testing.T, seen map[string]map[string]json.RawMessage) {
	t.Helper()
	if !*update {
		return
	}
	out := map[string]map[string]any{}
	for id, parts := range seen {
		out[id] = map[string]any{}
		for part, text := range parts {
			if !utf8.Valid(text) { // a photo, which has no example
				continue
			}
			var v any
			if err := json.Unmarshal(text, &v); err != nil {
				t.Fatal(err)
			}
			out[id][part] = cutLists(v)
		}
	}
	b, err := json.MarshalIndent(out, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("examples.json", append(b, '\n'), 0o644); err != nil {
		t.Fatal(err)
	}
}

func cutLists(v any) any {
	switch v := v.(type) {
	case []any:
		for i := range v {
			v[i] = cutLists(v[i])
		}
		return v[:min(2, len(v))]
	case map[string]any:
		for k, x := range v {
			if k == "calendar_url" || k == "secret" {
				before, _, _ := strings.Cut(x.(string), "=")
				v[k] = strings.Replace(before+"=...", "whsec_", "whsec_...", 1)
				continue
			}
			v[k] = cutLists(x)
		}
	}
	return v
}

// Every operation of the API that takes or answers JSON has an example, and
// each example is valid.
func TestExamplesAreValid(t *testing.T) {
	doc := description(t)
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	d := webtest.Describe(t, text)
	n := 0
	for path, item := range doc["paths"].(map[string]any) {
		for method, op := range item.(map[string]any) {
			if !strings.HasPrefix(path, "/v1/") {
				continue
			}
			at := "/paths/" + strings.NewReplacer("/", "~1", "{", "%7B", "}", "%7D").Replace(path) + "/" + method
			check := func(at string, content any) {
				for kind, media := range content.(map[string]any) {
					if !strings.HasSuffix(kind, "json") {
						continue
					}
					v, ok := media.(map[string]any)["example"]
					if !ok {
						t.Errorf("%s %s has no example", method, path)
						continue
					}
					body, err := json.Marshal(v)
					if err != nil {
						t.Fatal(err)
					}
					if err := d.Valid(at+"/content/"+strings.NewReplacer("/", "~1", "+", "%2B").Replace(kind)+"/schema",
						string(body)); err != nil {
						t.Errorf("%s %s: %v", method, path, err)
					}
					n++
				}
			}
			o := op.(map[string]any)
			if body, ok := o["requestBody"].(map[string]any); ok {
				check(at+"/requestBody", body["content"])
			}
			for status, r := range o["responses"].(map[string]any) {
				if content, ok := r.(map[string]any)["content"]; ok && status[0] == '2' {
					check(at+"/responses/"+status, content)
				}
			}
		}
	}
	if n < 20 {
		t.Errorf("only %d examples", n)
	}
}

// Each sentence has its code with the figures beside it, but where the object
// is a code with its text itself.
func TestEachSentenceHasItsCode(t *testing.T) {
	sentences := map[string]bool{"because": true, "caution": true, "change": true, "changes": true, "covers": true,
		"detail": true, "inspect": true, "method": true, "reason": true, "rule": true, "subject": true, "text": true,
		"trouble": true, "why": true}
	// What somebody typed, the number of covers, a source, whether to look
	// again, and the first sentence of an effect's why.
	named := map[string]bool{"LogEntry.text": true, "LogOrderInput.text": true, "Stock.covers": true,
		"StockPatch.covers": true, "StockInput.covers": true, "EvaporationView.method": true, "NowPad.inspect": true,
		"Effect.inspect": true, "NextView.why": true, "AdviceView.why": true, "HazardView.why": true}
	n := 0
	for name, schema := range description(t)["components"].(map[string]any)["schemas"].(map[string]any) {
		properties, _ := schema.(map[string]any)["properties"].(map[string]any)
		_, isCode := properties["code"]
		_, hasFigures := properties["figures"]
		for p := range properties {
			if !sentences[p] || isCode && hasFigures || named[name+"."+p] {
				continue
			}
			n++
			if _, ok := properties[p+"_data"]; !ok {
				t.Errorf("%s.%s has no %s_data", name, p, p)
			}
		}
	}
	if n < 15 {
		t.Errorf("only %d sentences were found", n)
	}
}
