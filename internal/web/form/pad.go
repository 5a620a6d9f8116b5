package form

import (
	"net/url"
	"slices"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
)

// Fields of the form of one pad beside those of a row: its form set, the pads that
// it waits for, and how far they must be.
const (
	PadSet   = "form"
	PadAfter = "order0"
	PadUntil = "until"
)

// PadNotThere is the rule for a name that no pad has: given.
const PadNotThere message.Code = "pad_not_there"

// OfPad writes one pad as the values of its form: those of a row of one.
func OfPad(s pour.Spec, i int, r say.Reader) url.Values {
	p := s.Pads[i]
	w := writer{url.Values{}, r}
	w.rows([]row{{letter: p.Name, from: 1, pads: []pour.Pad{p}, across: 1, regular: true}})
	w.Set(PadSet, "")
	if p.FormSet != nil {
		w.Set(PadSet, *p.FormSet)
	}
	var after []string
	w.Set(PadUntil, string(pour.Stripped))
	for _, a := range p.After {
		after = append(after, a.Pad)
		w.Set(PadUntil, string(a.Until))
	}
	w.Set(PadAfter, strings.Join(after, ", "))
	return w.Values
}

// ReadPad reads the form of the pad of an index over its spec. Pads that wait for
// it go on to, by its new name.
func ReadPad(v url.Values, base pour.Spec, i int, r say.Reader) Got {
	got := Got{Spec: base, Typed: map[string]message.Figure{}}
	f := reader{v, r, &got}
	was := base.Pads[i]
	row := f.row(0, map[string]pour.Pad{was.Name: was}, map[string]string{}, 0, 1)
	got.Spec.Pads = slices.Clone(base.Pads)
	for k := range base.Pads {
		got.rowOf = append(got.rowOf, k+1)
	}
	got.rowOf[i] = 0
	if len(row.pads) != 1 {
		return got
	}
	p := row.pads[0]
	p.FormSet = nil
	if set := f.value(PadSet); set != "" {
		p.FormSet = &set
	}
	p.After = f.after(base, was)
	got.Spec.Pads[i] = p
	for k := range got.Spec.Pads {
		after := slices.Clone(got.Spec.Pads[k].After)
		for j := range after {
			if after[j].Pad == was.Name {
				after[j].Pad = p.Name
			}
		}
		got.Spec.Pads[k].After = after
	}
	return got
}

// after reads the pads that a pad waits for. One that it waits for already keeps
// its own "until" where the form's was not changed.
func (f reader) after(base pour.Spec, was pour.Pad) []pour.After {
	out := []pour.After{}
	before := OfPad(pour.Spec{Pads: []pour.Pad{was}}, 0, f.r).Get(PadUntil)
	for name := range strings.FieldsFuncSeq(f.value(PadAfter), func(r rune) bool { return r == ',' || r == ';' }) {
		name = strings.TrimSpace(name)
		if name == "" {
			continue
		}
		k := slices.IndexFunc(base.Pads, func(p pour.Pad) bool { return strings.EqualFold(p.Name, name) })
		if k < 0 {
			f.wrong(PadAfter, fault.RuleOf(PadNotThere, message.Text("given", name)))
			continue
		}
		a := pour.After{Pad: base.Pads[k].Name, Until: pour.State(f.value(PadUntil))}
		for _, had := range was.After {
			if had.Pad == a.Pad && f.value(PadUntil) == before {
				a = had
			}
		}
		out = append(out, a)
	}
	return out
}

// WithoutPad takes a pad out of a spec; none waits for it any more.
func WithoutPad(s pour.Spec, i int) pour.Spec {
	gone := s.Pads[i].Name
	s.Pads = slices.Delete(slices.Clone(s.Pads), i, i+1)
	for k := range s.Pads {
		s.Pads[k].After = slices.DeleteFunc(slices.Clone(s.Pads[k].After), func(a pour.After) bool {
			return a.Pad == gone
		})
	}
	return s
}
