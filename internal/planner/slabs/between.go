package slabs

import (
	"time"

	"dryslot/internal/concrete"
)

// Between returns how a slab behaves that is placed at any instant. Its times lie
// between those of the whole hours beside it, as Nodes.Whole has them; its figures and
// series are those of the hour before.
func Between(s Slabs, q Query) *concrete.Behaviour {
	from := q.Placed
	q.Placed = from.Truncate(Step)
	share := from.Sub(q.Placed).Hours() / Step.Hours()
	out := *s.Behave(q)
	if share == 0 {
		return &out
	}
	q.Placed = q.Placed.Add(Step)
	next := *s.Behave(q)
	out.Unknown, out.Freezes = out.Unknown || next.Unknown, out.Freezes || next.Freezes
	then := next.Times()
	for i, at := range out.Times() {
		if *at == concrete.Never || *then[i] == concrete.Never {
			*at = concrete.Never
			continue
		}
		*at += time.Duration(share * float64(*then[i]-*at))
	}
	return &out
}
