package api

import (
	"math"
	"net/url"
	"reflect"
	"regexp"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"dryslot/internal/fault"
	"dryslot/internal/web"
)

// number is a query parameter as it was sent. huma documents it; it is read
// here, so that all faults of a query are reported together and NaN, which huma
// lets through, is refused.
type number struct {
	Raw string
	Set bool
}

// whole is a number without a fraction.
type whole struct{ number }

// Schema, Receiver and OnParamSet are what huma asks of a parameter.
func (number) Schema(huma.Registry) *huma.Schema { return &huma.Schema{Type: huma.TypeNumber} }

// Schema describes a whole number.
func (whole) Schema(huma.Registry) *huma.Schema { return &huma.Schema{Type: huma.TypeInteger} }

// Receiver is where huma puts what was sent.
func (n *number) Receiver() reflect.Value { return reflect.ValueOf(&n.Raw).Elem() }

// OnParamSet learns whether anything was sent.
func (n *number) OnParamSet(set bool, _ any) { n.Set = set }

// numberForm is a number as JSON writes one, or with a leading point or plus.
var numberForm = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$`)

// float reads the number; what is absent or no number is noted and becomes
// NaN, which no range lets through.
func (n number) float(l *fault.List, name string) float64 {
	v, err := strconv.ParseFloat(n.Raw, 64)
	switch {
	case !n.Set:
		l.Break(name, "absent", fault.RuleOf(fault.Required))
	case err != nil || !numberForm.MatchString(n.Raw):
		l.Break(name, web.Cut(n.Raw), fault.RuleOf(fault.NumberWanted))
	default:
		return v
	}
	return math.NaN()
}

// within reads a whole number of a range; absent is fallback.
func (n whole) within(l *fault.List, name string, fallback, low, high int) int {
	if !n.Set {
		return fallback
	}
	v, err := strconv.Atoi(n.Raw)
	if err != nil || v < low || v > high {
		l.Break(name, web.Cut(n.Raw), fault.Whole(low, high))
		return fallback
	}
	return v
}

// checkQuery notes parameters that the route does not know, and what is said
// twice.
func checkQuery(query string, op *huma.Operation, l *fault.List) error {
	q, err := url.ParseQuery(query)
	if err != nil {
		return fault.Of(fault.Unreadable, QueryUnreadable).By(err).At("query", web.Cut(query), fault.RuleOf(QueryForm))
	}
	known := map[string]bool{}
	for _, p := range op.Parameters {
		known[p.Name] = p.In == "query"
	}
	for name, values := range q {
		switch {
		case !known[name]:
			l.Break(web.Cut(name), web.Cut(strings.Join(values, " and ")), fault.RuleOf(ParameterUnknown))
		case len(values) > 1:
			l.Break(name, web.Cut(strings.Join(values, " and ")), fault.RuleOf(fault.GivenTwice))
		}
	}
	return nil
}
