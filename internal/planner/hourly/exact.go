package hourly

import (
	"math"
	"slices"
)

// exactMembers is the number of members up to which decisions are exact, and
// exactNodes how many nodes the search for them may visit; beyond either the
// rules decide.
const (
	exactMembers = 8
	exactNodes   = 20_000
)

// search is expectimax over what can be known: members that nothing known
// so far tells apart are decided for together.
type search struct {
	w     *walk
	nodes int
}

// node is a point of the day at which the crew decides.
type node struct {
	cell            []int // members that may be the truth
	run, in         int
	pending, placed int
	waited          int
	last            int     // hour in which the last pad was placed
	soFar           []tally // by place in the cell
}

func (w *walk) exact(place bool) (best, bool) {
	s := &search{w: w}
	root := node{soFar: make([]tally, len(w.f.prior))}
	for m := range w.f.prior {
		root.cell = append(root.cell, m)
	}
	var next node
	if place {
		next = s.placed(&root)
	} else {
		next = s.waits(&root)
	}
	b := s.best(&next)
	w.steps += s.nodes
	return b, s.nodes <= exactNodes
}

// best returns the least loss from a node on, weighted by the members' priors.
func (s *search) best(n *node) best {
	s.nodes++
	d := s.w.f.day
	if n.run < 0 || n.placed >= d.pads() || s.nodes > exactNodes {
		return s.end(n)
	}
	h, can, over := s.w.at(n.run, n.in, n.placed)
	if over || h >= s.w.f.hours {
		return s.end(n)
	}
	if !can {
		next := s.waits(n)
		return s.best(&next)
	}
	var out best
	for _, part := range s.parts(n, h) {
		next := s.waits(&part)
		b := s.best(&next)
		if m := part.cell[0]; s.w.f.risk[m*s.w.f.hours+h] < raining && !s.anyThunder(part.cell, h) {
			next = s.placed(&part)
			if x := s.best(&next); x.loss < b.loss {
				b = x
			}
		}
		out.loss += b.loss
		out.pads += b.pads
	}
	return out
}

func (s *search) anyThunder(cell []int, h int) bool {
	return slices.ContainsFunc(cell, func(m int) bool { return s.w.thunder(m, h) })
}

// parts divides a node's members by what is known in an hour.
func (s *search) parts(n *node, h int) []node {
	var keys []uint32
	var out []node
	for i, m := range n.cell {
		key := s.w.f.keys[m*s.w.f.hours+h]
		k := slices.Index(keys, key)
		if k < 0 {
			k = len(keys)
			keys = append(keys, key)
			out = append(out, node{run: n.run, in: n.in, pending: n.pending, placed: n.placed, waited: n.waited,
				last: n.last})
		}
		out[k].cell = append(out[k].cell, m)
		out[k].soFar = append(out[k].soFar, n.soFar[i])
	}
	return out
}

func (s *search) placed(n *node) node {
	out := *n
	out.soFar = slices.Clone(n.soFar)
	for i, m := range n.cell {
		x := s.w.fates[n.run*s.w.most+n.in][m]
		out.soFar[i].lost += x.lost
		out.soFar[i].inspect += x.inspect
		out.soFar[i].work += x.work
	}
	out.last, _, _ = s.w.at(n.run, n.in, n.placed)
	out.in++
	out.placed++
	out.waited, out.pending = n.waited+n.pending, 0
	return out
}

// waits goes on to the run of the next hour; run -1 is the end of the day.
func (s *search) waits(n *node) node {
	d := s.w.f.day
	out := *n
	h, can, _ := s.w.at(n.run, n.in, n.placed)
	out.run, out.in = -1, 0
	if h+1 < len(s.w.runAt) && s.w.runAt[h+1] != n.run {
		out.run = s.w.runAt[h+1]
	}
	if can && n.placed+d.Placed > 0 {
		out.pending++
	}
	return out
}

func (s *search) end(n *node) best {
	var out best
	for i, m := range n.cell {
		t := n.soFar[i]
		t.waited, t.placed, t.last = n.waited, n.placed, n.last
		out.loss += s.w.f.prior[m] * s.w.f.day.loss(t)
		out.pads += s.w.f.prior[m] * float64(n.placed)
	}
	if math.IsNaN(out.loss) {
		out.loss = math.Inf(1)
	}
	return out
}
