package api

import (
	"encoding/json"
	"reflect"
	"testing"

	"dryslot/internal/pour"
)

// text writes a document back.
func text(n *pour.Node) string {
	b, err := json.Marshal(n)
	if err != nil {
		return err.Error()
	}
	return string(b)
}

// The examples of RFC 7396, appendix A.
func TestMergePatch(t *testing.T) {
	for _, c := range []struct{ target, patch, want string }{
		{`{"a":"b"}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"b"}`, `{"b":"c"}`, `{"a":"b","b":"c"}`},
		{`{"a":"b"}`, `{"a":null}`, `{}`},
		{`{"a":"b","b":"c"}`, `{"a":null}`, `{"b":"c"}`},
		{`{"a":["b"]}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"c"}`, `{"a":["b"]}`, `{"a":["b"]}`},
		{`{"a":{"b":"c"}}`, `{"a":{"b":"d","c":null}}`, `{"a":{"b":"d"}}`},
		{`{"a":[{"b":"c"}]}`, `{"a":[1]}`, `{"a":[1]}`},
		{`["a","b"]`, `["c","d"]`, `["c","d"]`},
		{`{"a":"b"}`, `["c"]`, `["c"]`},
		{`{"a":"foo"}`, `null`, `null`},
		{`{"a":"foo"}`, `"bar"`, `"bar"`},
		{`{"e":null}`, `{"a":1}`, `{"e":null,"a":1}`},
		{`[1,2]`, `{"a":"b","c":null}`, `{"a":"b"}`},
		{`{}`, `{"a":{"bb":{"ccc":null}}}`, `{"a":{"bb":{}}}`},
		{`{"a":[1]}`, `{"a":[{"b":1,"c":null},null]}`, `{"a":[{"b":1},null]}`}, // ours: see merge
	} {
		merged, err := merge(parse(t, c.target), parse(t, c.patch))
		if err != nil {
			t.Errorf("%s with %s: %v", c.target, c.patch, err)
			continue
		}
		got := text(merged)
		var a, b any
		if json.Unmarshal([]byte(got), &a) != nil || json.Unmarshal([]byte(c.want), &b) != nil ||
			!reflect.DeepEqual(a, b) {
			t.Errorf("%s with %s: %s, want %s", c.target, c.patch, got, c.want)
		}
	}
}

func TestWhatTheServiceWorkedOutComesBackUnchangedOrNotAtAll(t *testing.T) {
	answered := parse(t, `{"id":"x","revision":3,"name":"N","pads":[{"name":"A","state":"placed","bags":5},
		{"name":"B","state":"waiting","bags":4, "inspect":"Rain fell on B.",
			"inspect_data":{"code":"rain_soft","figures":{"pad":"B","n":[1]}}}]}`)
	for patch, want := range map[string]string{
		`{"id":"x","revision":3,"name":"M"}`: `{"name":"M"}`,
		`{"pads":[{"name":"B","state":"waiting","bags":4},
			{"name":"A","bags":5}]}`: `{"pads":[{"name":"B"},{"name":"A"}]}`,
		`{"pads":[{"name":"renamed","state":"placed",
			"bags":5}]}`: `{"pads":[{"name":"renamed"}]}`,
		`{"pads":[{"name":"B","inspect_data":{"figures":{"n":[1],"pad":"B"},
			"code":"rain_soft"}}]}`: `{"pads":[{"name":"B"}]}`,
		`{"pads":[{"name":"B","inspect":"Sobre B cayó lluvia.","inspect_data":{"figures":{"n":[1],"pad":"B"},
			"code":"rain_soft"}}]}`: `{"pads":[{"name":"B"}]}`, // as read in Spanish
		`{"pads":7}`: `{"pads":7}`,
		`[1]`:        `[1]`,
	} {
		got, err := withoutWorkedOut(parse(t, patch), answered)
		if err != nil || text(got) != want {
			t.Errorf("%s: %s, %v", patch, text(got), err)
		}
	}
	for _, patch := range []string{`{"id":"y"}`, `{"revision":4}`, `{"id":null}`,
		`{"pads":[{"name":"A","state":"cured"}]}`, `{"pads":[{"name":"A","bags":6}]}`,
		`{"pads":[{"name":"A"},{"name":"B"},{"name":"C","state":"waiting"}]}`, `{"calendar_url":"http://elsewhere"}`,
		`{"pads":[{"name":"B","inspect_data":{"code":"rain_soft","figures":{"pad":"B","n":[2]}}}]}`,
		`{"pads":[{"name":"B","inspect_data":{"code":"rain_soft"}}]}`,
		`{"pads":[{"name":"B","inspect":"Sobre B cayó lluvia."}]}`,
		`{"pads":[{"name":"B","inspect":"Rain fell on B.","inspect_data":{"code":"rain_soft"}}]}`} {
		if _, err := withoutWorkedOut(parse(t, patch), answered); err == nil {
			t.Errorf("%s was taken", patch)
		}
	}
}

// A number of bags without the moment of its count is a new count.
func TestANewCountOfBags(t *testing.T) {
	for _, c := range []struct{ patch, want string }{
		{`{"stock":{"bags_on_hand":12}}`, `{"stock":{"bags_on_hand":12,"counted_at":null}}`},
		{`{"stock":{"bags_on_hand":12,"counted_at":"2026-06-08T06:00:00Z"}}`,
			`{"stock":{"bags_on_hand":12,"counted_at":"2026-06-08T06:00:00Z"}}`},
		{`{"stock":{"covers":[]}}`, `{"stock":{"covers":[]}}`},
		{`{"stock":null}`, `{"stock":null}`},
	} {
		patch, err := pour.Parse([]byte(c.patch))
		if err != nil {
			t.Fatal(err)
		}
		answered, err := pour.Parse([]byte(`{"pads":[]}`))
		if err != nil {
			t.Fatal(err)
		}
		got, err := withoutWorkedOut(patch, answered)
		if err != nil || text(got) != c.want {
			t.Errorf("%s: %s, %v", c.patch, text(got), err)
		}
	}
}
