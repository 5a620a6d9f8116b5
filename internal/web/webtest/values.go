package webtest

import (
	"encoding/json"
	"maps"
	"math"
	"slices"
	"strings"
	"time"
)

// deepest is how far values are nested at most.
const deepest = 6

// resolve follows references, and takes the first of what is combined.
func (g *Generator) resolve(schema any) map[string]any {
	s := asMap(schema)
	for range deepest {
		if ref, ok := s["$ref"].(string); ok {
			var at any = g.doc
			for part := range strings.SplitSeq(strings.TrimPrefix(ref, "#/"), "/") {
				at = asMap(at)[part]
			}
			s = asMap(at)
			continue
		}
		for _, key := range []string{"allOf", "anyOf", "oneOf"} {
			if parts, ok := s[key].([]any); ok && len(parts) > 0 && s["type"] == nil {
				next := parts[0]
				if key != "allOf" {
					next = parts[g.rand.IntN(len(parts))]
				}
				s = asMap(next)
				break
			}
		}
	}
	return s
}

// value makes a value that a schema allows, or now and then one that it may not.
func (g *Generator) value(schema any, depth int) any {
	if g.chance(0.02) {
		return g.wrong()
	}
	s := g.resolve(schema)
	if words, ok := s["enum"].([]any); ok && len(words) > 0 {
		return words[g.rand.IntN(len(words))]
	}
	kind := s["type"]
	if kinds, ok := kind.([]any); ok && len(kinds) > 0 {
		kind = kinds[g.rand.IntN(len(kinds))]
	}
	switch kind {
	case "object":
		return g.object(s, depth)
	case "array":
		out := []any{}
		for range g.rand.IntN(4) {
			if depth < deepest {
				out = append(out, g.value(s["items"], depth+1))
			}
		}
		return out
	case "string":
		return g.text(s)
	case "boolean":
		return g.chance(0.5)
	case "integer":
		low, high := bounds(s, 1, 10)
		return math.Floor(low + g.rand.Float64()*(high-low+1))
	case "number":
		low, high := bounds(s, 0, 30)
		return math.Round((low+g.rand.Float64()*(high-low))*1000) / 1000
	default:
		return nil
	}
}

func bounds(s map[string]any, low, high float64) (float64, float64) {
	if v, ok := s["minimum"].(float64); ok {
		low = v
		high = max(high, low+10)
	}
	if v, ok := s["maximum"].(float64); ok {
		high = v
	}
	return low, high
}

func (g *Generator) object(s map[string]any, depth int) any {
	out := map[string]any{}
	required, _ := s["required"].([]any)
	properties := asMap(s["properties"])
	for _, name := range slices.Sorted(maps.Keys(properties)) {
		needed := slices.Contains(required, any(name))
		if asMap(properties[name])["readOnly"] == true || !needed && (depth >= deepest || g.chance(0.6)) {
			continue
		}
		out[name] = g.value(properties[name], depth+1)
	}
	return out
}

func (g *Generator) text(s map[string]any) any {
	at := time.Date(2025, 7, 20, 0, 0, 0, 0, time.UTC).Add(time.Duration(g.rand.IntN(14*24*60)) * time.Minute)
	switch {
	case s["format"] == "date-time":
		return at.Format(time.RFC3339)
	case s["format"] == "date":
		return at.Format(time.DateOnly)
	case s["pattern"] != nil: // the only pattern of the document is that of a time of day
		return at.Format("15:04")
	}
	return []any{"A1", "A2", "A3", "F1", "a note", "", "site@example.org", "https://hooks.example.org/x", "ñandú 混凝土",
		"<b>&\"'"}[g.rand.IntN(10)]
}

// wrong makes what few schemas allow.
func (g *Generator) wrong() any {
	return []any{nil, -1.0, 1e300, "", "x\x00y", []any{}, map[string]any{}, true,
		strings.Repeat("n", 5000)}[g.rand.IntN(9)]
}

// vary changes up to three places of a value.
func (g *Generator) vary(v, schema any) any {
	for range g.rand.IntN(4) {
		v = g.change(v, schema, 0)
	}
	return v
}

// change puts another value in one place of v.
func (g *Generator) change(v, schema any, depth int) any {
	s := g.resolve(schema)
	switch v := v.(type) {
	case map[string]any:
		properties := asMap(s["properties"])
		names := slices.Sorted(maps.Keys(properties))
		if len(names) == 0 || g.chance(0.03) {
			v["unknown"] = 1.0
			return v
		}
		name := names[g.rand.IntN(len(names))]
		if old, ok := v[name]; ok && g.chance(0.1) {
			delete(v, name)
		} else if ok {
			v[name] = g.change(old, properties[name], depth+1)
		} else {
			v[name] = g.value(properties[name], depth+1)
		}
		return v
	case []any:
		if len(v) > 0 && g.chance(0.8) {
			i := g.rand.IntN(len(v))
			v[i] = g.change(v[i], s["items"], depth+1)
			return v
		}
	}
	return g.value(schema, depth)
}

// clone copies a value of JSON.
func clone(v any) any {
	b, err := json.Marshal(v)
	var out any
	if err == nil {
		err = json.Unmarshal(b, &out)
	}
	if err != nil {
		panic(err) // of a value that was read from JSON
	}
	return out
}
