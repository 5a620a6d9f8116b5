package policy

import (
	"math/bits"
	"slices"

	"dryslot/internal/pour"
)

// MostGroups is how many sequences of pads a policy keeps apart.
const MostGroups = 4

// tieBreak is which pads a sequence takes first where the order between them is open.
type tieBreak uint8

// The tie breaks: first those that set most others free at once, or last those
// that hold up the fewest others.
const (
	freeMostFirst tieBreak = iota
	blockFewestLast
	tieBreaks
)

// groups splits the pads still to be poured into sequences. The pads of a
// sequence are taken in its order; pads of different sequences may be taken on
// the same morning in any mixture. proved is true where nothing is lost by
// that: the pads are the same to the crew, and in each sequence those come
// first that set most others free.
func (f *Prepared) groups(tie tieBreak) (seqs [][]int, proved bool) {
	level := f.levels()
	byForm := f.formsApart(level)
	type key struct{ level, form int }
	byKey := map[key][]int{}
	var keys []key
	classes := map[int]bool{}
	for i := range f.Pads {
		if !f.Pads[i].Left {
			continue
		}
		k := key{level: level[i]}
		if byForm {
			k.form = f.Pads[i].Form
		}
		if byKey[k] == nil {
			keys = append(keys, k)
		}
		byKey[k] = append(byKey[k], i)
		classes[f.Pads[i].Class] = true
	}
	slices.SortFunc(keys, func(a, b key) int {
		if a.level != b.level {
			return a.level - b.level
		}
		return a.form - b.form
	})
	rank := make([]int, len(f.Pads)) // position in the sequences so far
	placed := map[int]bool{}
	for _, k := range keys {
		seq := f.sequence(byKey[k], level, placed, rank)
		if tie == blockFewestLast {
			seq = f.fewestBlockedLast(seq)
		}
		for _, p := range seq {
			placed[p] = true
			rank[p] = len(placed)
		}
		seqs = append(seqs, seq)
	}
	if len(seqs) > MostGroups || f.crossed(seqs) {
		var all []int
		for _, s := range seqs {
			all = append(all, s...)
		}
		return [][]int{f.sequence(all, level, map[int]bool{}, make([]int, len(f.Pads)))}, len(all) <= 1
	}
	return seqs, len(classes) <= 1 && f.nested(seqs) && !f.formsBind()
}

// crossed reports whether a pad waits for one of a later sequence to be placed.
func (f *Prepared) crossed(seqs [][]int) bool {
	of := map[int]int{}
	for g, seq := range seqs {
		for _, p := range seq {
			of[p] = g
		}
	}
	for p, g := range of {
		for _, a := range f.Pads[p].After {
			if h, ok := of[a.Pad]; ok && h > g {
				return true
			}
		}
	}
	return false
}

// formsBind reports whether some form set may hold fewer pads than are to be
// poured with it: in gang forms one pad a day fills a form.
func (f *Prepared) formsBind() bool {
	n := make([]int, len(f.Spec.FormSets))
	for i := range f.Pads {
		p := &f.Pads[i]
		held := p.Record.State == pour.Placed || p.Record.State == pour.Finished
		if p.Form >= 0 && (p.Left || held) {
			n[p.Form]++
		}
	}
	for i, k := range n {
		if k > f.Spec.FormSets[i].Count {
			return true
		}
	}
	return false
}

// formsApart reports whether pads of different form sets had better be kept in
// sequences of their own: the sets bind, and not evenly.
func (f *Prepared) formsApart(level []int) bool {
	if !f.formsBind() {
		return false
	}
	type key struct{ level, form int }
	n := map[key]int{}
	for i := range f.Pads {
		if f.Pads[i].Left && f.Pads[i].Form >= 0 {
			n[key{level[i], f.Pads[i].Form}]++
		}
	}
	for a, x := range n {
		for b, y := range n {
			if a.level == b.level && x*f.Spec.FormSets[b.form].Holds() != y*f.Spec.FormSets[a.form].Holds() {
				return true
			}
		}
	}
	return false
}

// levels returns how many mornings must pass before a pad can be poured, from
// the order between pads alone.
func (f *Prepared) levels() []int {
	level := make([]int, len(f.Pads))
	for i := range level {
		level[i] = -1
	}
	var of func(int) int
	of = func(i int) int {
		if level[i] >= 0 {
			return level[i]
		}
		level[i] = 0
		for _, a := range f.Pads[i].After {
			if !f.Pads[a.Pad].Left {
				continue
			}
			l := of(a.Pad)
			if a.Until != pour.Placed {
				l++
			}
			level[i] = max(level[i], l)
		}
		return level[i]
	}
	for i := range f.Pads {
		of(i)
	}
	return level
}

// nested reports whether, for every number of pads taken from the first
// sequences, no other choice of as many sets more pads of the later ones free.
func (f *Prepared) nested(seqs [][]int) bool {
	if len(seqs) <= 1 {
		return true
	}
	if len(seqs) > 2 || len(seqs[0]) > 14 {
		return false
	}
	needs, ok := f.needs(seqs)
	if !ok {
		return false
	}
	most := make([]int, len(seqs[0])+1)
	for set := uint(0); set < 1<<len(seqs[0]); set++ {
		n := 0
		for _, m := range needs {
			if m&^set == 0 {
				n++
			}
		}
		k := bits.OnesCount(set)
		most[k] = max(most[k], n)
	}
	for k := range most {
		n := 0
		for i, m := range needs {
			if m&^(1<<k-1) == 0 {
				if i != n {
					return false // a later pad of the sequence is free before an earlier one
				}
				n++
			}
		}
		if n < most[k] {
			return false
		}
	}
	return true
}

// needs returns, for each pad of the second sequence, the set of pads of the
// first that it waits for, as bits by position; ok is false where a sequence has
// an order of its own.
func (f *Prepared) needs(seqs [][]int) (needs []uint, ok bool) {
	bit := map[int]int{}
	for i, p := range seqs[0] {
		bit[p] = i
	}
	for _, p := range seqs[1] {
		var m uint
		for _, a := range f.Pads[p].After {
			if i, ok := bit[a.Pad]; ok {
				m |= 1 << i
			} else if f.Pads[a.Pad].Left {
				return nil, false
			}
		}
		needs = append(needs, m)
	}
	for _, p := range seqs[0] {
		if slices.ContainsFunc(f.Pads[p].After, func(a edge) bool { return f.Pads[a.Pad].Left }) {
			return nil, false
		}
	}
	return needs, true
}

// Taken returns the pads of a day in an order that respects every order
// between them: sequences one after the other, forerunners first.
func (f *Prepared) Taken(seqs [][]int, from []uint16, count []uint8) []int {
	var out []int
	for g, n := range count {
		out = append(out, seqs[g][from[g]:from[g]+uint16(n)]...)
	}
	return out
}
