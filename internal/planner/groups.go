package planner

import (
	"math/bits"
	"slices"

	"dryslot/internal/pour"
)

// mostGroups is how many sequences of pads a policy keeps apart.
const mostGroups = 4

// leaning is which pads a sequence puts first where the choice is open.
type leaning uint8

// The leanings: those first that set most others free at once, or those last
// that hold the fewest others up.
const (
	freeSoon leaning = iota
	holdLittle
	leanings
)

// groups splits the pads still to be poured into sequences. The pads of a
// sequence are taken in its order; pads of different sequences may be taken on
// the same morning in any mixture. proved tells that nothing is lost by
// that: the pads are the same to the crew, and in each sequence those come
// first that set most others free.
func (f *frame) groups(lean leaning) (seqs [][]int, proved bool) {
	level := f.levels()
	byForm := f.formsApart(level)
	type key struct{ level, form int }
	byKey := map[key][]int{}
	var keys []key
	classes := map[int]bool{}
	for i := range f.pads {
		if !f.pads[i].left {
			continue
		}
		k := key{level: level[i]}
		if byForm {
			k.form = f.pads[i].form
		}
		if byKey[k] == nil {
			keys = append(keys, k)
		}
		byKey[k] = append(byKey[k], i)
		classes[f.pads[i].class] = true
	}
	slices.SortFunc(keys, func(a, b key) int {
		if a.level != b.level {
			return a.level - b.level
		}
		return a.form - b.form
	})
	rank := make([]int, len(f.pads)) // position in the sequences so far
	placed := map[int]bool{}
	for _, k := range keys {
		seq := f.sequence(byKey[k], level, placed, rank)
		if lean == holdLittle {
			seq = f.fromBehind(seq)
		}
		for _, p := range seq {
			placed[p] = true
			rank[p] = len(placed)
		}
		seqs = append(seqs, seq)
	}
	if len(seqs) > mostGroups || f.crossed(seqs) {
		var all []int
		for _, s := range seqs {
			all = append(all, s...)
		}
		return [][]int{f.sequence(all, level, map[int]bool{}, make([]int, len(f.pads)))}, len(all) <= 1
	}
	return seqs, len(classes) <= 1 && f.nested(seqs) && !f.formsBind()
}

// crossed reports whether a pad waits for one of a later sequence to be placed.
func (f *frame) crossed(seqs [][]int) bool {
	of := map[int]int{}
	for g, seq := range seqs {
		for _, p := range seq {
			of[p] = g
		}
	}
	for p, g := range of {
		for _, a := range f.pads[p].after {
			if h, ok := of[a.pad]; ok && h > g {
				return true
			}
		}
	}
	return false
}

// formsBind reports whether some form set holds fewer pads than are to be
// poured with it.
func (f *frame) formsBind() bool {
	n := make([]int, len(f.spec.FormSets))
	for i := range f.pads {
		p := &f.pads[i]
		held := p.rec.State == pour.Placed || p.rec.State == pour.Finished
		if p.form >= 0 && (p.left || held) {
			n[p.form]++
		}
	}
	for i, k := range n {
		if k > f.spec.FormSets[i].Count {
			return true
		}
	}
	return false
}

// formsApart reports whether pads of different form sets had better be kept in
// sequences of their own: the sets bind, and not evenly.
func (f *frame) formsApart(level []int) bool {
	if !f.formsBind() {
		return false
	}
	type key struct{ level, form int }
	n := map[key]int{}
	for i := range f.pads {
		if f.pads[i].left && f.pads[i].form >= 0 {
			n[key{level[i], f.pads[i].form}]++
		}
	}
	for a, x := range n {
		for b, y := range n {
			if a.level == b.level && x*f.spec.FormSets[b.form].Count != y*f.spec.FormSets[a.form].Count {
				return true
			}
		}
	}
	return false
}

// levels returns how many mornings must pass before a pad can be poured, from
// the order between pads alone.
func (f *frame) levels() []int {
	level := make([]int, len(f.pads))
	for i := range level {
		level[i] = -1
	}
	var of func(int) int
	of = func(i int) int {
		if level[i] >= 0 {
			return level[i]
		}
		level[i] = 0
		for _, a := range f.pads[i].after {
			if !f.pads[a.pad].left {
				continue
			}
			l := of(a.pad)
			if a.until != pour.Placed {
				l++
			}
			level[i] = max(level[i], l)
		}
		return level[i]
	}
	for i := range f.pads {
		of(i)
	}
	return level
}

// nested reports whether, for every number of pads taken from the first
// sequences, no other choice of as many sets more pads of the later ones free.
func (f *frame) nested(seqs [][]int) bool {
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
func (f *frame) needs(seqs [][]int) (needs []uint, ok bool) {
	bit := map[int]int{}
	for i, p := range seqs[0] {
		bit[p] = i
	}
	for _, p := range seqs[1] {
		var m uint
		for _, a := range f.pads[p].after {
			if i, ok := bit[a.pad]; ok {
				m |= 1 << i
			} else if f.pads[a.pad].left {
				return nil, false
			}
		}
		needs = append(needs, m)
	}
	for _, p := range seqs[0] {
		if slices.ContainsFunc(f.pads[p].after, func(a edge) bool { return f.pads[a.pad].left }) {
			return nil, false
		}
	}
	return needs, true
}

// taken returns the pads of a day in an order that respects every order
// between them: sequences one after the other, forerunners first.
func (f *frame) taken(seqs [][]int, from []uint16, count []uint8) []int {
	var out []int
	for g, n := range count {
		out = append(out, seqs[g][from[g]:from[g]+uint16(n)]...)
	}
	return out
}
