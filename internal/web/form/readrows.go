package form

import (
	"math"
	"slices"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
	"dryslot/internal/pour"
)

// mostInRow bounds the numbers of pads before any is made.
const mostInRow = 100

// pace is the room between rows whose place is not given, in metres.
const pace = 0.6

// laid is a row as it was typed, with its pads.
type laid struct {
	letter string
	i      int
	pads   []pour.Pad
	mixed  bool // in several form sets, pad by pad
}

// rows reads the rows of pads and the forms over what the spec has.
func (f reader) rows(base pour.Spec) {
	old := map[string]pour.Pad{}
	for _, p := range base.Pads {
		old[p.Name] = p
	}
	var rows []laid
	renamed := map[string]string{} // from the old name to the new
	below, count := 0.0, 0
	for i := range Rows.Count(f.Values) {
		r := f.row(i, old, renamed, below, pour.MaxPads-count)
		if count += len(r.pads); len(r.pads) == 0 {
			continue
		}
		for _, p := range r.pads {
			below = math.Max(below, p.YM+p.WidthM+pace)
		}
		rows = append(rows, r)
	}
	sets := f.forms(&f.got.Spec, rows)
	f.got.Spec.Pads = []pour.Pad{}
	known := map[string]bool{}
	for _, r := range rows {
		for _, p := range r.pads {
			known[p.Name] = true
		}
	}
	for _, r := range rows {
		for _, p := range r.pads {
			f.got.rowOf = append(f.got.rowOf, r.i)
			if set, ok := sets[r.i]; ok {
				p.FormSet = &set
			} else if !r.mixed {
				p.FormSet = nil
			} else if p.FormSet != nil {
				p.FormSet = f.setNow(*p.FormSet)
			}
			p.After = stillThere(p.After, renamed, known)
			f.got.Spec.Pads = append(f.got.Spec.Pads, p)
		}
	}
}

// stillThere is an order with the pads' new names, without those that are gone.
func stillThere(after []pour.After, renamed map[string]string, known map[string]bool) []pour.After {
	out := []pour.After{}
	for _, a := range after {
		if now, ok := renamed[a.Pad]; ok {
			a.Pad = now
		}
		if known[a.Pad] {
			out = append(out, a)
		}
	}
	return out
}

// setNow is the name now of a form set that had another; nil where it is gone.
func (f reader) setNow(was string) *string {
	for i := range Forms.Count(f.Values) {
		if f.Get(At("set_was", i)) == was {
			name := f.value(At("set", i))
			return &name
		}
	}
	return nil
}

// count reads a number of pads, 1 to mostInRow; one is taken where it is wrong, so
// that a pad's size is judged all the same.
func (f reader) count(name string) int {
	n := 1
	if f.whole(name, &n); n < 1 || n > mostInRow {
		f.wrong(name, fault.Whole(1, mostInRow))
		return 1
	}
	return n
}

// row reads one row: its pads keep what the form does not ask.
func (f reader) row(i int, old map[string]pour.Pad, renamed map[string]string, below float64, most int) laid {
	name := func(field string) string { return At(field, i) }
	r := laid{letter: f.value(name("letter")), i: i}
	across, lines := f.count(name("across")), f.count(name("rows"))
	n, from := across*lines, 1
	if n > most {
		f.wrong(name("across"), fault.RuleOf(PadsTooMany, message.Count("max", pour.MaxPads)))
		return r
	}
	if f.value(name("from")) != "" {
		f.whole(name("from"), &from)
	}
	var was []string
	if f.Get(name("was")) != "" {
		was = strings.Split(f.Get(name("was")), apart)
	}
	var before []pour.Pad
	for k := range n {
		p := pour.Pad{After: []pour.After{}}
		if k < len(was) {
			if o, ok := old[was[k]]; ok {
				p = o
				before = append(before, o)
			}
		}
		p.Name = r.letter
		if n > 1 {
			p.Name = At(r.letter, from+k)
		}
		if k < len(was) {
			renamed[was[k]] = p.Name
		}
		r.pads = append(r.pads, p)
	}
	if len(before) > 1 {
		_, one := row{pads: before}.formSet()
		r.mixed = !one
	}
	f.sizes(i, r.pads)
	f.lay(i, r.pads, across, below, len(before))
	switch f.value(name("order")) {
	case orderAny:
		for k := range r.pads {
			r.pads[k].After = nil
		}
	case orderAlternate:
		of := alternate(names(r.pads), across)
		for k := range r.pads {
			r.pads[k].After = of[k]
		}
	}
	return r
}

// sizes reads the sizes of a row's pads; what can't be read gives one error.
func (f reader) sizes(i int, pads []pour.Pad) {
	for k := range pads {
		p, told := &pads[k], len(f.got.Wrong)
		f.length(At("length", i), side, &p.LengthM)
		f.length(At("width", i), side, &p.WidthM)
		f.length(At("thick", i), small, &p.ThicknessM)
		f.optional(At("edge", i), &p.EdgeThicknessM, func(name string, v *float64) { f.length(name, small, v) })
		if k > 0 {
			f.got.Wrong = f.got.Wrong[:told]
		}
	}
}

// lay says where the pads of a row lie. Without a gap, those that were there
// stay where they are.
func (f reader) lay(i int, pads []pour.Pad, across int, below float64, there int) {
	first := pads[0]
	if there == 0 {
		first.XM, first.YM = 0, below
	}
	for _, c := range []struct {
		name string
		to   *float64
	}{{At("x", i), &first.XM}, {At("y", i), &first.YM}} {
		if f.value(c.name) != "" {
			f.length(c.name, side, c.to)
		}
	}
	gap, typed := 0.0, f.value(At("gap", i)) != ""
	if typed {
		f.length(At("gap", i), small, &gap)
	}
	for k := range pads {
		if typed || k >= there || k == 0 {
			x, y := at(first, k, across, gap)
			if math.Abs(pads[k].XM-x) > 1e-4 || math.Abs(pads[k].YM-y) > 1e-4 {
				pads[k].XM, pads[k].YM = math.Round(x*1e6)/1e6, math.Round(y*1e6)/1e6
			}
		}
	}
}

// forms reads the form sets, and returns the one of each row that has one.
func (f reader) forms(s *pour.Spec, rows []laid) map[int]string {
	of := map[int]string{}
	was := s.FormSets
	s.FormSets = []pour.FormSet{}
	for i := range Forms.Count(f.Values) {
		set := pour.FormSet{Cells: 1}
		if k := slices.IndexFunc(was, func(x pour.FormSet) bool { return x.Name == f.Get(At("set_was", i)) }); k >= 0 {
			set = was[k]
		}
		f.text(At("set", i), &set.Name)
		f.whole(At("count", i), &set.Count)
		f.whole(At("cells", i), &set.Cells)
		s.FormSets = append(s.FormSets, set)
		for _, k := range f.named(At("for", i), rows) {
			if _, taken := of[k]; taken {
				f.wrong(At("for", i), fault.RuleOf(RowTwice, message.Text("given", f.value(At("letter", k)))))
				continue
			}
			of[k] = set.Name
		}
	}
	return of
}

// named reads the rows that a form is for: their letters with commas or blanks
// between. Words such as pads may stand beside them.
func (f reader) named(name string, rows []laid) []int {
	find := func(word string) int {
		k := slices.IndexFunc(rows, func(r laid) bool { return strings.EqualFold(r.letter, word) })
		if k < 0 {
			return -1
		}
		return rows[k].i
	}
	var out []int
	for part := range strings.FieldsFuncSeq(f.value(name), func(r rune) bool { return r == ',' || r == ';' }) {
		part = strings.TrimSpace(part)
		if k := find(part); k >= 0 {
			out = append(out, k)
			continue
		}
		for word := range strings.FieldsSeq(part) {
			k := find(word)
			switch {
			case k >= 0:
				out = append(out, k)
			case !slices.Contains(beside, strings.ToLower(word)):
				f.wrong(name, fault.RuleOf(RowUnknown, message.Text("given", word)))
			}
		}
	}
	return out
}

// beside are words that may stand beside the letters of rows, in English and Spanish.
var beside = []string{"pad", "pads", "row", "rows", "and", "the", "losa", "losas", "fila", "filas", "y", "las"}
