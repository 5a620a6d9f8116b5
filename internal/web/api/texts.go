package api

import (
	_ "embed"
	"strings"
)

// properties.txt says what each property means: a type and a property, or a
// property that means the same everywhere, then a colon and the meaning; or
// an equals sign and the words that it may hold in answers.
//
//go:embed properties.txt
var propertiesText string

type texts map[string]string

func readTexts() texts {
	out := texts{}
	for line := range strings.Lines(propertiesText) {
		line = strings.TrimSpace(line)
		if key, words, ok := strings.Cut(line, " = "); ok && !strings.Contains(key, ":") {
			out["="+key] = words
		} else if key, text, ok := strings.Cut(line, ": "); ok {
			out[key] = text
		}
	}
	return out
}

func (t texts) of(key string) string { return t[key] }

// enum returns the words of a property of answers; nil: any.
func (t texts) enum(key string) []any {
	words, ok := t["="+key]
	if !ok {
		return nil
	}
	var out []any
	for _, w := range strings.Split(words, "|") {
		out = append(out, w)
	}
	return out
}
