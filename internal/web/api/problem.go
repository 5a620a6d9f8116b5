package api

import (
	"fmt"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"dryslot/internal/message"
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
	p := web.NewProblem(m.Status, message.New(web.RequestRefused))
	for _, e := range m.Errors {
		p.Errors = append(p.Errors, web.AtFault(bareField(e.Location), web.Cut(fmt.Sprint(e.Value)), web.FieldRefused))
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
