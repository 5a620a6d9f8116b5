package api

import (
	"fmt"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"dryslot/internal/fault"
	"dryslot/internal/web"
)

// asProblem is a huma transformer: huma's own errors take our form.
func asProblem(_ huma.Context, _ string, v any) (any, error) {
	m, ok := v.(*huma.ErrorModel)
	if !ok {
		return v, nil
	}
	p := web.NewProblem(m.Status, m.Detail)
	for _, e := range m.Errors {
		var l fault.List // cuts values to size
		l.Add(bareField(e.Location), fmt.Sprint(e.Value), e.Message)
		p.Errors = append(p.Errors, web.AtFault(l[0].Path, l[0].Value, l[0].Rule))
	}
	return p, nil
}

// bareField takes huma's place off a location: query.air_c is air_c.
func bareField(location string) string {
	for _, place := range []string{"query.", "path.", "header."} {
		if rest, ok := strings.CutPrefix(location, place); ok {
			return rest
		}
	}
	return location
}
