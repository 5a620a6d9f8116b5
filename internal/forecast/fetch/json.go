package fetch

import (
	"errors"
	"fmt"
	"io"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"dryslot/internal/fault"
)

// Parse reads one whole JSON document into v. It is strict, because a name
// given twice, broken UTF-8 or anything after the document mean that a server
// failed while it answered: then fault.Invalid, and nothing of it is to be
// believed.
func Parse(feed string, body []byte, v any) error {
	err := json.Unmarshal(body, v)
	if err == nil {
		return nil
	}
	var f *fault.Error
	if errors.As(err, &f) {
		return f // a rule of the feed's own, met while reading
	}
	var syntax *jsontext.SyntacticError
	if errors.As(err, &syntax) {
		what := "is not JSON"
		if errors.Is(err, io.ErrUnexpectedEOF) {
			what = "breaks off"
		}
		return fault.Wrap(fault.Invalid, fmt.Sprintf("%s: the document %s at byte %d of %d", feed, what,
			syntax.ByteOffset, len(body)), err)
	}
	var semantic *json.SemanticError
	if errors.As(err, &semantic) {
		var bad fault.List
		bad.Add(string(semantic.JSONPointer), string(semantic.JSONValue), "must be of another type than "+
			semantic.JSONKind.String())
		return bad.Err(feed + ": the document is not of its stated form")
	}
	return fault.Wrap(fault.Invalid, feed+": the document can't be read", err)
}

// NotA is fault.Invalid for a value of another type than was to be expected.
func NotA(want, path, value string) error {
	var bad fault.List
	bad.Add(path, value, "must be "+want)
	return bad.Err("the document is not of its stated form")
}
