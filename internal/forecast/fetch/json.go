package fetch

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
)

// Parse reads one whole JSON document into v. It is strict, because a name
// given twice, broken UTF-8 or anything after the document tell that a server
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
		return fault.Wrap(fault.Invalid, fmt.Sprintf("%s: the document %s at byte %d of %d", feed, what, syntax.ByteOffset, len(body)), err)
	}
	var semantic *json.SemanticError
	if errors.As(err, &semantic) {
		var bad fault.List
		bad.Add(string(semantic.JSONPointer), string(semantic.JSONValue), "must be of another type than "+semantic.JSONKind.String())
		return bad.Err(feed + ": the document is not of its stated form")
	}
	return fault.Wrap(fault.Invalid, feed+": the document can't be read", err)
}

// Numbers is a list of numbers in which null, an unknown value, is NaN.
type Numbers []float64

// UnmarshalJSONFrom reads an array of numbers and nulls, forecast.MaxHours at most.
func (n *Numbers) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	path := func() string { return string(d.StackPointer()) }
	open, err := d.ReadToken()
	if err != nil {
		return err
	}
	if open.Kind() == 'n' {
		*n = nil
		return nil
	}
	if open.Kind() != '[' {
		return NotA("an array of numbers", path(), open.String())
	}
	out := (*n)[:0]
	for d.PeekKind() != ']' {
		t, err := d.ReadToken()
		if err != nil {
			return err
		}
		if len(out) >= forecast.MaxHours {
			return NotA(fmt.Sprintf("an array of at most %d values", forecast.MaxHours), path(), "more")
		}
		switch t.Kind() {
		case '0':
			out = append(out, t.Float())
		case 'n':
			out = append(out, math.NaN())
		default:
			return NotA("a number or null", path(), t.String())
		}
	}
	*n = out
	_, err = d.ReadToken()
	return err
}

// NotA is fault.Invalid for a value of another type than was to be expected.
func NotA(want, path, value string) error {
	var bad fault.List
	bad.Add(path, value, "must be "+want)
	return bad.Err("the document is not of its stated form")
}
