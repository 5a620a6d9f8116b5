package pour

import (
	"encoding"
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/unit"
)

// Read reads a JSON object into the struct that into points to, strictly and
// whole: unknown members, wrong types, values that a type refuses and absent
// members with the tag `required:"true"` are all reported together, each with
// its path, as fault.Invalid. What is not JSON is fault.Unreadable. Members
// that are absent keep what into held, so that it may hold defaults. Whatever
// was right is set even when an error is returned.
func Read(body []byte, into any) error {
	n, err := Parse(body)
	if err != nil {
		return err
	}
	return n.Read(into)
}

// Read is the function Read, for a document that is parsed already.
func (n *Node) Read(into any) error {
	r := &reader{}
	v := reflect.ValueOf(into).Elem()
	if n.Kind != ObjectNode {
		r.wrong(wholeBody, n, fault.RuleOf(fault.ObjectWanted))
	} else {
		r.object("", n, v)
	}
	return r.list.Broken(DocumentForm)
}

// ReadSpec reads a project, filling in the defaults, and validates it. The
// error names every fault of form and of rule together.
func ReadSpec(n *Node) (Spec, error) { return readSpec(n, DefaultSpec()) }

// ReadChanged is ReadSpec for a project from which a change may have taken
// members away. What is gone gets its default, but a figure that may be unknown
// is unknown then: whoever takes the price away has no price.
func ReadChanged(n *Node) (Spec, error) {
	s := DefaultSpec()
	if n.Kind == ObjectNode && n.Get("mix") != nil {
		s.Mix.CementFraction, s.Mix.PricePerBag = nil, nil
	}
	return readSpec(n, s)
}

func readSpec(n *Node, s Spec) (Spec, error) {
	form := n.Read(&s)
	// Units that are left out are found from the zone; a name of none is a mistake.
	if u := n.Get("units"); u != nil && u.Kind == StringNode && u.Text == "" {
		var named fault.List
		named.Break("units", u.Text, fault.OneOf(unitNames...))
		form = Together(form, named.Broken(ProjectBreaksRule))
	}
	s.Normalize()
	return s, Together(form, s.Validate())
}

// Together joins the faults of reading and of validating a document: a rule
// broken by a field that was not read at all, or within it, is left out.
func Together(form, rules error) error {
	var a, b *fault.Error
	if !errors.As(form, &a) {
		return rules
	}
	if !errors.As(rules, &b) {
		return form
	}
	all := *a
	for _, f := range b.Fields {
		if !covers(a.Fields, f.Path) {
			all.Fields = append(all.Fields, f)
		}
	}
	return &all
}

// wholeBody stands for a document as a whole.
const wholeBody = "body"

// covers reports whether one of the fields at fault is path or holds it.
func covers(fields []fault.Field, path string) bool {
	for _, f := range fields {
		if f.Path == wholeBody {
			return true
		}
		if rest, ok := strings.CutPrefix(path, f.Path); ok && (rest == "" || rest[0] == '.' || rest[0] == '[') {
			return true
		}
	}
	return false
}

// reader gathers the faults of one document.
type reader struct{ list fault.List }

// mostFaults bounds an answer about a document that is wrong throughout.
const mostFaults = 500

func (r *reader) wrong(path string, n *Node, rule fault.Rule) {
	if len(r.list) < mostFaults {
		r.list.Break(path, n.Brief(), rule)
	}
}

// textRule says what form a type wants its text in.
func textRule(v any) fault.Rule {
	switch v.(type) {
	case unit.Clock:
		return fault.RuleOf(fault.ClockWanted)
	case unit.Date:
		return fault.RuleOf(fault.DateWanted)
	default:
		return fault.RuleOf(fault.InstantWanted)
	}
}

func (r *reader) value(path string, n *Node, v reflect.Value) {
	if v.Kind() == reflect.Pointer {
		if n.Kind == NullNode {
			v.SetZero()
			return
		}
		fresh := reflect.New(v.Type().Elem())
		before := len(r.list)
		r.value(path, n, fresh.Elem())
		if len(r.list) == before {
			v.Set(fresh)
		}
		return
	}
	if t, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		if n.Kind != StringNode || t.UnmarshalText([]byte(n.Text)) != nil {
			r.wrong(path, n, textRule(v.Interface()))
		}
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		if n.Kind != ObjectNode {
			r.wrong(path, n, fault.RuleOf(fault.ObjectWanted))
			return
		}
		r.object(path, n, v)
	case reflect.Slice:
		r.slice(path, n, v)
	case reflect.String:
		if n.Kind != StringNode {
			r.wrong(path, n, fault.RuleOf(fault.TextWanted))
			return
		}
		v.SetString(n.Text)
	case reflect.Float64:
		f, err := strconv.ParseFloat(n.Text, 64)
		if n.Kind != NumberNode || err != nil {
			r.wrong(path, n, fault.RuleOf(fault.NumberWanted))
			return
		}
		v.SetFloat(f)
	case reflect.Int:
		i, ok := n.whole()
		if !ok {
			r.wrong(path, n, fault.RuleOf(fault.WholeWanted))
			return
		}
		v.SetInt(i)
	case reflect.Bool:
		if n.Kind != BoolNode {
			r.wrong(path, n, fault.RuleOf(fault.BoolWanted))
			return
		}
		v.SetBool(n.Bool)
	default:
		panic("pour: Read does not know " + v.Type().String())
	}
}

func (r *reader) slice(path string, n *Node, v reflect.Value) {
	if n.Kind != ArrayNode {
		r.wrong(path, n, fault.RuleOf(fault.ListWanted))
		return
	}
	const most = 10000 // far above any list's own limit
	if len(n.Array) > most {
		r.wrong(path, n, fault.AtMost(most))
		return
	}
	out := reflect.MakeSlice(v.Type(), len(n.Array), len(n.Array))
	for i, m := range n.Array {
		if x, ok := out.Index(i).Addr().Interface().(interface{ setDefaults() }); ok {
			x.setDefaults()
		}
		r.value(fmt.Sprintf("%s[%d]", path, i), m, out.Index(i))
	}
	v.Set(out)
}

// object reads an object's members into a struct's fields of the same name.
func (r *reader) object(path string, n *Node, v reflect.Value) {
	known := map[string]bool{}
	for _, f := range reflect.VisibleFields(v.Type()) {
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous || name == "" || name == "-" {
			continue
		}
		known[name] = true
		at := join(path, name)
		switch m := n.Get(name); {
		case m != nil:
			r.value(at, m, v.FieldByIndex(f.Index))
		case f.Tag.Get("required") == "true":
			r.wrong(at, nil, fault.RuleOf(fault.Required))
		}
	}
	for _, m := range n.Object {
		if !known[m.Name] {
			r.wrong(printable(join(path, m.Name)), m.Value, fault.RuleOf(fault.UnknownField))
		}
	}
}
