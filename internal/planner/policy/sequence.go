package policy

import "slices"

// sequence orders the pads of one group: by level, where bags are scarce by how
// many they take, then those whose own predecessors come first, then those that
// set most others free, then as the builder listed them.
func (f *Prepared) sequence(group, level []int, placed map[int]bool, rank []int) []int {
	q := &sequencing{f: f, level: level, rank: rank, followers: f.followers(), done: map[int]bool{},
		scarce: f.mlEver() != noLimit, left: slices.Clone(group)}
	for p := range placed {
		q.done[p] = true
	}
	var out []int
	for len(q.left) > 0 {
		best, bestKey := -1, [6]int{}
		for at, p := range q.left {
			if q.waits(p) {
				continue
			}
			if key := q.key(p); best < 0 || slices.Compare(key[:], bestKey[:]) < 0 {
				best, bestKey = at, key
			}
		}
		if best < 0 {
			best = 0 // pads that wait for each other in a circle: the project's checks refuse these
		}
		q.done[q.left[best]] = true
		out = append(out, q.left[best])
		q.left = append(q.left[:best], q.left[best+1:]...)
	}
	return out
}

// sequencing is the work of ordering one group.
type sequencing struct {
	f         *Prepared
	level     []int
	rank      []int         // position in the sequences so far
	followers map[int][]int // of each pad, those that wait for it
	done      map[int]bool  // in a sequence already
	scarce    bool          // bags are: then the pads that take the fewest go first
	left      []int         // of the group
}

// followers returns, of each pad, the pads left that wait for it.
func (f *Prepared) followers() map[int][]int {
	out := map[int][]int{}
	for i := range f.Pads {
		if f.Pads[i].Left {
			for _, a := range f.Pads[i].After {
				out[a.Pad] = append(out[a.Pad], i)
			}
		}
	}
	return out
}

// waits reports whether a pad waits for another that is left of the group.
func (q *sequencing) waits(p int) bool {
	return slices.ContainsFunc(q.f.Pads[p].After, func(a edge) bool { return slices.Contains(q.left, a.Pad) })
}

// missing returns how many pads a pad waits for that are not in a sequence yet,
// besides one that is to be added.
func (q *sequencing) missing(p, plus int) int {
	n := 0
	for _, a := range q.f.Pads[p].After {
		if q.f.Pads[a.Pad].Left && !q.done[a.Pad] && a.Pad != plus {
			n++
		}
	}
	return n
}

// key is what a pad is ordered by: the least comes first.
func (q *sequencing) key(p int) [6]int {
	last := 0
	for _, a := range q.f.Pads[p].After {
		last = max(last, q.rank[a.Pad])
	}
	freed, near := 0, 0
	for _, w := range q.followers[p] {
		if m := q.missing(w, p); m == 0 {
			freed++
		} else {
			near = max(near, 100-m)
		}
	}
	key := [6]int{q.level[p], 0, last, -freed, -near, p}
	if q.scarce {
		key[1] = q.f.Pads[p].Kind.ML
	}
	return key
}

// fewestBlockedLast orders a sequence from its end: last comes the pad that holds up
// the fewest others, and so on. A sequence with an order of its own is kept.
func (f *Prepared) fewestBlockedLast(seq []int) []int {
	in := map[int]bool{}
	for _, p := range seq {
		in[p] = true
	}
	waits := map[int][]int{} // of each pad outside, those of the sequence that it waits for
	holds := map[int][]int{}
	for q := range f.Pads {
		for _, a := range f.Pads[q].After {
			if !f.Pads[q].Left || !in[a.Pad] {
				continue
			}
			if in[q] {
				return seq
			}
			waits[q] = append(waits[q], a.Pad)
			holds[a.Pad] = append(holds[a.Pad], q)
		}
	}
	left := slices.Clone(seq)
	held := map[int]bool{}
	out := make([]int, len(seq))
	for k := len(seq) - 1; k >= 0; k-- {
		best := holdsFewest(left, holds, held)
		p := left[best]
		out[k] = p
		for _, q := range holds[p] {
			held[q] = true
		}
		left = append(left[:best], left[best+1:]...)
	}
	return out
}

// holdsFewest returns the index of the last pad of left that holds up the fewest
// pads not held up by others already.
func holdsFewest(left []int, holds map[int][]int, held map[int]bool) int {
	best, least := -1, 0
	for i, p := range left {
		n := 0
		for _, q := range holds[p] {
			if !held[q] {
				n++
			}
		}
		if best < 0 || n <= least {
			best, least = i, n
		}
	}
	return best
}
