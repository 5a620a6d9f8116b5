package api

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// A form is the contract's form of an answer, written as a JSON document whose
// values are the names of types: text, number, int, bool, time, date, clock,
// any of them with a ? where null may stand in, a|b|c for one of these words,
// [form] for a list, {"...": form} for an object with any names. A name that
// begins with + is one that we added to the contract. An object's own null is
// allowed by "?": "". Every name must be there, and no other.

// fits reports where a document departs from its form.
func fits(doc, form *pour.Node, path string) []string {
	if form.Kind == pour.ObjectNode && form.Get("?") != nil && doc.Kind == pour.NullNode {
		return nil
	}
	if doc.Kind != form.Kind && form.Kind != pour.StringNode {
		return []string{fmt.Sprintf("%s is %s", path, doc.Brief())}
	}
	switch form.Kind {
	case pour.ObjectNode:
		return objectFits(doc, form, path)
	case pour.ArrayNode:
		var bad []string
		for i, d := range doc.Array {
			bad = append(bad, fits(d, form.Array[0], fmt.Sprintf("%s[%d]", path, i))...)
		}
		return bad
	default:
		if !wordFits(doc, form.Text) {
			return []string{fmt.Sprintf("%s is %s, not %s", path, doc.Brief(), form.Text)}
		}
		return nil
	}
}

func objectFits(doc, form *pour.Node, path string) []string {
	var bad []string
	if each := form.Get("..."); each != nil {
		for _, m := range doc.Object {
			bad = append(bad, fits(m.Value, each, path+"."+m.Name)...)
		}
		return bad
	}
	known := map[string]bool{}
	for _, f := range form.Object {
		name := strings.TrimPrefix(f.Name, "+")
		known[name] = true
		optional := strings.HasSuffix(name, "*")
		name = strings.TrimSuffix(name, "*")
		known[name] = true
		if f.Name == "?" {
			continue
		}
		if d := doc.Get(name); d != nil {
			bad = append(bad, fits(d, f.Value, path+"."+name)...)
		} else if !optional {
			bad = append(bad, path+"."+name+" is absent")
		}
	}
	for _, m := range doc.Object {
		if !known[m.Name] {
			bad = append(bad, path+"."+m.Name+" is not in the contract")
		}
	}
	return bad
}

func wordFits(d *pour.Node, word string) bool {
	if w, ok := strings.CutSuffix(word, "?"); ok {
		if d.Kind == pour.NullNode {
			return true
		}
		word = w
	}
	is := func(kind pour.NodeKind, err error) bool { return d.Kind == kind && err == nil }
	switch word {
	case "text":
		return d.Kind == pour.StringNode
	case "any":
		return true
	case "number":
		return d.Kind == pour.NumberNode
	case "int":
		var v float64
		err := json.Unmarshal([]byte(d.Text), &v)
		return is(pour.NumberNode, err) && v == math.Trunc(v)
	case "bool":
		return d.Kind == pour.BoolNode
	case "time":
		_, err := time.Parse(time.RFC3339, d.Text)
		return is(pour.StringNode, err)
	case "date":
		_, err := unit.ParseDate(d.Text)
		return is(pour.StringNode, err)
	case "clock":
		_, err := unit.ParseClock(d.Text)
		return is(pour.StringNode, err)
	default:
		return d.Kind == pour.StringNode && slices.Contains(strings.Split(word, "|"), d.Text)
	}
}

func parse(t *testing.T, body string) *pour.Node {
	t.Helper()
	n, err := pour.Parse([]byte(body))
	if err != nil {
		t.Fatalf("%v in %.300s", err, body)
	}
	return n
}

// mustFit fails the test wherever body departs from the named form.
func mustFit(t *testing.T, name, body string) {
	t.Helper()
	form, ok := forms()[name]
	if !ok {
		t.Fatalf("there is no form %s among %v", name, slices.Sorted(maps.Keys(forms())))
	}
	for _, bad := range fits(parse(t, body), parse(t, form), name) {
		t.Error(bad)
	}
}

func TestTheFormCheckerSeesFaults(t *testing.T) {
	form := parse(t, `{"a":"int","b":"time?","c":["x|y"],"d":{"?":"","e":"number"},"+f":{"...":"bool"},"g*":"text"}`)
	for doc, want := range map[string]int{
		`{"a":1,"b":null,"c":["x","y"],"d":null,"f":{"q":true}}`:                            0,
		`{"a":2.0,"b":"2026-01-02T03:04:05Z","c":[],"d":{"e":1.5},"f":{},"g":"t"}`:          0,
		`{"a":1.5,"b":"noon","c":["z"],"d":{"e":null},"f":{"q":1},"h":0}`:                   6,
		`{"a":null,"c":null,"d":{"e":1,"z":2},"f":{}}`:                                      4,
		`{"a":"1","b":"2026-01-02 03:04:05","c":{},"d":[],"f":null,"g":null}`:               6,
		`{"a":1,"b":null,"c":["x",null],"d":{},"f":{}}`:                                     2,
		`{"a":1e400,"b":null,"c":[],"d":null,"f":{},"extra":{"deep":[1,2,3]},"g":"","z":1}`: 3,
	} {
		if bad := fits(parse(t, doc), form, "x"); len(bad) != want {
			t.Errorf("%s: %d faults, want %d: %v", doc, len(bad), want, bad)
		}
	}
}

// offsets collects the offsets of all times in a document.
func offsets(n *pour.Node, into map[string]bool) {
	if n.Kind == pour.StringNode {
		if at, err := time.Parse(time.RFC3339, n.Text); err == nil {
			into[at.Format("-07:00")] = true
		}
	}
	for _, m := range n.Object {
		offsets(m.Value, into)
	}
	for _, v := range n.Array {
		offsets(v, into)
	}
}
