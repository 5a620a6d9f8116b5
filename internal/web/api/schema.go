package api

import (
	"cmp"
	"encoding/json"
	"path"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"dryslot/internal/alerts"
	"dryslot/internal/daylight"
	"dryslot/internal/message"
	"dryslot/internal/notify"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// use is what a schema is for: it decides what is required and what may be null.
type use int

const (
	forAnswer use = iota // all is there; pointers may be null
	forOrder             // required is what is tagged so; the rest has its default
	forPatch             // nothing is required; null takes a value back to its default
)

// schemas writes the schemas of our types into the description.
type schemas struct {
	parts    map[string]*huma.Schema
	texts    texts
	rules    map[string]map[string]pour.Rule // by the type that is sent
	defaults map[string]any                  // of a project's fields, by path
}

func newSchemas(parts map[string]*huma.Schema) *schemas {
	b := &schemas{parts: parts, texts: readTexts(), defaults: map[string]any{}}
	spec := pour.SpecRules()
	b.rules = map[string]map[string]pour.Rule{"Spec": spec, "ProjectView": spec, "LogOrder": pour.EntryRules()}
	var defaults map[string]any
	body, err := json.Marshal(pour.DefaultSpec())
	if err == nil {
		err = json.Unmarshal(body, &defaults)
	}
	if err != nil {
		panic("api: the defaults of a project can't be written: " + err.Error()) // a mistake of ours, at start
	}
	flatten(defaults, "", b.defaults)
	return b
}

func flatten(v map[string]any, at string, into map[string]any) {
	for name, x := range v {
		if inner, ok := x.(map[string]any); ok {
			flatten(inner, at+name+".", into)
			continue
		}
		into[at+name] = x
	}
}

// words are the texts that a type may hold.
func words(t reflect.Type) []any {
	var out []any
	list := func(all ...string) {
		for _, w := range all {
			out = append(out, w)
		}
	}
	switch t {
	case reflect.TypeFor[job.Verdict]():
		list("pour", "care", "hold")
	case reflect.TypeFor[job.Severity]():
		list("note", "watch", "act")
	case reflect.TypeFor[pour.State]():
		list("waiting", "formed", "placed", "finished", "stripped", "cured", "lost")
	case reflect.TypeFor[pour.PlanState]():
		list("awaiting-forecast", "open", "finished")
	case reflect.TypeFor[daylight.Case]():
		list("ordinary", "always-up", "never-up", "civil-only")
	case reflect.TypeFor[notify.Kind]():
		for _, k := range append(notify.Kinds(), notify.Test, notify.Confirm) {
			out = append(out, string(k))
		}
	case reflect.TypeFor[alerts.DeliveryState]():
		list("due", "retrying", "sent", "failed")
	case reflect.TypeFor[pour.EntryKind]():
		for _, k := range pour.EntryKinds() {
			out = append(out, string(k))
		}
	}
	return out
}

// position is where a value stands: what it is for, and its path below the type
// that is sent, whose rules and defaults hold there.
type position struct {
	use  use
	root string // name of the type that is sent or answered
	path string // such as pads.length_m
}

// ref returns a reference to the schema of a struct, written on first use.
func (b *schemas) ref(t reflect.Type, at position) *huma.Schema {
	name := nameSchema(t, t.Name())
	suffix := map[use]string{forOrder: "Input", forPatch: "Patch"}[at.use]
	whole := name + suffix
	if _, ok := b.parts[whole]; !ok {
		out := &huma.Schema{Type: huma.TypeObject, Description: b.texts.of(name), Properties: map[string]*huma.Schema{}}
		b.parts[whole] = out // before its fields, which may lead back here
		if at.use != forAnswer {
			out.AdditionalProperties = false
		}
		if at.root == "" {
			at.root = name
		}
		b.fields(out, t, name, at)
	}
	return &huma.Schema{Ref: "#/components/schemas/" + whole}
}

func (b *schemas) fields(out *huma.Schema, t reflect.Type, owner string, at position) {
	for _, f := range reflect.VisibleFields(t) {
		name, option, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous || name == "" || name == "-" || !f.IsExported() || out.Properties[name] != nil &&
			len(f.Index) > 1 {
			continue
		}
		inner := at
		inner.path = strings.TrimPrefix(at.path+"."+name, ".")
		p := b.value(f.Type, inner)
		b.refine(p, f, name, inner, owner, declares(t, f.Index))
		out.Properties[name] = p
		required := at.use == forAnswer && option != "omitempty" || at.use == forOrder &&
			f.Tag.Get("required") == "true"
		if required && !slices.Contains(out.Required, name) {
			out.Required = append(out.Required, name)
		}
	}
	slices.Sort(out.Required)
}

// declares returns the name of the struct that declares a field, which may be
// embedded.
func declares(t reflect.Type, index []int) string {
	for _, i := range index[:len(index)-1] {
		if t = t.Field(i).Type; t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
	}
	return nameSchema(t, t.Name())
}

// refine adds what is known of one property besides its type.
func (b *schemas) refine(p *huma.Schema, f reflect.StructField, name string, at position, owner, declarer string) {
	described := p
	if p.Ref != "" { // what stands beside a reference holds in 3.1, but huma writes the reference alone
		*p = huma.Schema{AllOf: []*huma.Schema{{Ref: p.Ref}}}
	}
	described.Description = cmp.Or(f.Tag.Get("doc"), b.texts.of(owner+"."+name), b.texts.of(declarer+"."+name),
		b.texts.of(name))
	if u, _ := unit.OfName(name); u != "" && described.Extensions == nil {
		described.Extensions = map[string]any{"x-unit": u}
	}
	if tag := f.Tag.Get("enum"); tag != "" {
		p.Enum = nil
		for _, w := range strings.Split(tag, ",") {
			p.Enum = append(p.Enum, w)
		}
	}
	p.ReadOnly = f.Tag.Get("readOnly") == "true"
	if at.use == forAnswer {
		if extra := b.texts.enum(declarer + "." + name); extra != nil {
			p.Enum = extra
		}
	}
	if rule, ok := b.rules[at.root][at.path]; ok {
		apply(p, rule)
	}
	if at.root == "LogOrder" && f.Tag.Get("required") == "" { // empty and null are as good as left out
		nullable(p)
		if p.Enum != nil {
			p.Enum = append(p.Enum, "")
		}
	}
	if d, ok := b.defaults[at.path]; ok && (at.root == "Spec" || at.root == "ProjectView") &&
		f.Tag.Get("required") == "" && at.use != forAnswer {
		p.Default = d
	}
	if p.Nullable && p.Enum != nil {
		p.Enum = append(p.Enum, nil)
	}
}

func apply(p *huma.Schema, r pour.Rule) {
	for _, w := range r.Words {
		target := p
		if p.Items != nil {
			target = p.Items
		}
		if !slices.Contains(target.Enum, any(w)) {
			target.Enum = append(target.Enum, w)
		}
	}
	switch {
	case r.Min != nil:
		p.Minimum, p.Maximum = r.Min, r.Max
	case r.Most > 0 && p.Type == huma.TypeArray:
		p.MaxItems = &r.Most
	case r.Most > 0 && p.Type == huma.TypeString:
		p.MaxLength = &r.Most
	}
}

// value returns the schema of a type, in place.
func (b *schemas) value(t reflect.Type, at position) *huma.Schema {
	switch t {
	case reflect.TypeFor[time.Time]():
		return &huma.Schema{Type: huma.TypeString, Format: "date-time"}
	case reflect.TypeFor[unit.Date]():
		return &huma.Schema{Type: huma.TypeString, Format: "date"}
	case reflect.TypeFor[unit.Clock]():
		return &huma.Schema{Type: huma.TypeString, Pattern: "^([01][0-9]|2[0-3]):[0-5][0-9]$",
			Extensions: map[string]any{"x-unit": "local time"}}
	case reflect.TypeFor[message.Figures](): // their names and number differ from code to code
		return &huma.Schema{Type: huma.TypeObject, AdditionalProperties: true,
			Description: "The figures of the sentence, SI; a name ends in its unit. Which there are depends on " +
				"the code."}
	case reflect.TypeFor[unit.Opt]():
		return &huma.Schema{Type: huma.TypeNumber, Format: "double", Nullable: true}
	}
	switch t.Kind() {
	case reflect.Pointer:
		return nullable(b.value(t.Elem(), at))
	case reflect.Struct:
		return b.object(t, at)
	case reflect.Slice:
		items := at
		if at.use == forPatch { // a list is put in whole
			items.use = forOrder
		}
		return b.patchable(&huma.Schema{Type: huma.TypeArray, Items: b.value(t.Elem(), items)}, at)
	case reflect.Map:
		return &huma.Schema{Type: huma.TypeObject, AdditionalProperties: b.value(t.Elem(), at)}
	case reflect.String:
		return b.patchable(&huma.Schema{Type: huma.TypeString, Enum: words(t)}, at)
	case reflect.Bool:
		return b.patchable(&huma.Schema{Type: huma.TypeBoolean}, at)
	case reflect.Int, reflect.Int64:
		return b.patchable(&huma.Schema{Type: huma.TypeInteger}, at)
	default:
		return b.patchable(&huma.Schema{Type: huma.TypeNumber, Format: "double"}, at)
	}
}

func (b *schemas) object(t reflect.Type, at position) *huma.Schema {
	s := b.ref(t, at)
	if at.use == forPatch && at.path != "" {
		return nullable(s)
	}
	return s
}

// patchable lets null stand for the default in a patch.
func (b *schemas) patchable(s *huma.Schema, at position) *huma.Schema {
	if at.use == forPatch && at.path != "" {
		return nullable(s)
	}
	return s
}

func nullable(s *huma.Schema) *huma.Schema {
	switch {
	case s.Ref != "":
		return &huma.Schema{AnyOf: []*huma.Schema{s, {Type: "null"}}}
	case s.AnyOf == nil:
		s.Nullable = true
	}
	return s
}

// nameSchema names a type in the description; packages that use a noun of
// package pour in their own sense put their name before it.
func nameSchema(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	switch path.Base(t.PkgPath()) {
	case "takeoff":
		return "Takeoff" + name
	case "concrete":
		return "Concrete" + name
	default:
		return name
	}
}
