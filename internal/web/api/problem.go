package api

import (
	"fmt"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"dryslot/internal/fault"
	"dryslot/internal/web"
)

// asProblem is a huma transformer: huma's own errors take our form, and
// problems are put in the language of the request, else of the
// project that it is about.
func asProblem(ctx huma.Context, _ string, v any) (any, error) {
	accept, other := ctx.Header("Accept-Language"), "en"
	if c, ok := ctx.Context().Value(callKey{}).(*call); ok && c.language != "" {
		other = c.language
	}
	if p, ok := v.(*web.Problem); ok {
		return p.Worded(accept, other), nil
	}
	m, ok := v.(*huma.ErrorModel)
	if !ok {
		return v, nil
	}
	p := web.NewProblem(m.Status, m.Detail)
	for _, e := range m.Errors {
		var l fault.List // cuts values to size
		l.Add(bareField(e.Location), fmt.Sprint(e.Value), e.Message)
		p.Errors = append(p.Errors, web.FieldOf(l[0]))
	}
	return p.Worded(accept, other), nil
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
