package form

import (
	"errors"

	"dryslot/internal/fault"
)

// paths are the fields of a fault.
func paths(err error) []string {
	var f *fault.Error
	if !errors.As(err, &f) {
		return nil
	}
	var out []string
	for _, x := range f.Fields {
		out = append(out, x.Path)
	}
	return out
}
