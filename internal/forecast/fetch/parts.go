package fetch

import (
	"fmt"
	"math"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"dryslot/internal/forecast"
	"dryslot/internal/unit"
)

// maxWords bounds how many names a document may give units to.
const maxWords = 1000

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

// Number is a number that a document may leave out or give as null: both are
// unknown.
type Number struct{ unit.Opt }

// UnmarshalJSONFrom reads a number or null.
func (n *Number) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	t, err := d.ReadToken()
	if err != nil {
		return err
	}
	switch t.Kind() {
	case '0':
		n.Opt = unit.Some(t.Float())
	case 'n':
		n.Opt = unit.Opt{}
	default:
		return NotA("a number or null", string(d.StackPointer()), t.String())
	}
	return nil
}

// List is an array of at most forecast.MaxHours things, so that a document
// can't fill the memory with many small ones. Null is an empty list.
type List[T any] []T

// UnmarshalJSONFrom reads the array.
func (l *List[T]) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	open, err := d.ReadToken()
	if err != nil {
		return err
	}
	*l = nil
	if open.Kind() == 'n' {
		return nil
	}
	if open.Kind() != '[' {
		return NotA("an array", string(d.StackPointer()), open.String())
	}
	for d.PeekKind() != ']' {
		if len(*l) >= forecast.MaxHours {
			return NotA(fmt.Sprintf("an array of at most %d values", forecast.MaxHours), string(d.StackPointer()),
				"more")
		}
		var one T
		if err := json.UnmarshalDecode(d, &one); err != nil {
			return err
		}
		*l = append(*l, one)
	}
	_, err = d.ReadToken()
	return err
}

// Words is an object of strings, such as the units of a document's variables.
// What is no string is left out.
type Words map[string]string

// UnmarshalJSONFrom reads the object.
func (w *Words) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	*w = make(Words)
	return EachField(d, func(name string) error {
		if d.PeekKind() != '"' {
			return d.SkipValue()
		}
		t, err := d.ReadToken()
		if err != nil {
			return err
		}
		if len(*w) >= maxWords {
			return NotA(fmt.Sprintf("an object of at most %d names", maxWords), string(d.StackPointer()), "more")
		}
		(*w)[name] = t.String()
		return nil
	})
}

// EachField calls f with the decoder before the value of each field of an
// object. A null is an object without fields.
func EachField(d *jsontext.Decoder, f func(name string) error) error {
	open, err := d.ReadToken()
	if err != nil || open.Kind() == 'n' {
		return err
	}
	if open.Kind() != '{' {
		return NotA("an object", string(d.StackPointer()), open.String())
	}
	for d.PeekKind() != '}' {
		name, err := d.ReadToken()
		if err != nil {
			return err
		}
		if err := f(name.String()); err != nil {
			return err
		}
	}
	_, err = d.ReadToken()
	return err
}
