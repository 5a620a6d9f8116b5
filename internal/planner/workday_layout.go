package planner

import (
	"context"
	"math"

	"dryslot/internal/planner/hourly"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
)

// moment returns the day to decide on, and the next pad; nil where nothing is
// left to decide.
func (w *Workday) moment(ctx context.Context, at *Moment) (*hourly.Day, int) {
	if w.day < 0 {
		return nil, 0
	}
	left := w.left(at)
	if len(left) == 0 {
		return nil, 0
	}
	d := w.bare(ctx, at)
	now := d.Now + w.offset
	for step := range mostHourSteps {
		begin := now
		if step > 0 {
			begin = (math.Floor(now/60) + float64(step)) * 60
		}
		if begin >= w.f.days[w.day].hours.shut {
			break
		}
		d.Runs = append(d.Runs, w.run(at, now, begin, left))
	}
	w.terminal(d, at, left)
	return d, left[0]
}

// left returns the order without what has been placed.
func (w *Workday) left(at *Moment) []int {
	placed := map[int]bool{}
	for _, p := range at.Placed {
		if i, ok := w.f.byName[p.Pad]; ok {
			placed[i] = true
		}
	}
	var out []int
	for _, p := range w.order {
		if !placed[p] {
			out = append(out, p)
		}
	}
	return out
}

// run lays out the pads left from a minute on; it is empty where none fits, as
// while others are being finished.
func (w *Workday) run(at *Moment, now, begin float64, left []int) hourly.Run {
	f, d := w.f, &w.f.days[w.day]
	out := hourly.Run{Begin: begin - w.offset}
	crew, placing := f.crew, begin
	if at.SetUp {
		crew.setUp = 0
	}
	placing += crew.setUp
	var order []*work
	for _, p := range left {
		if !w.free(p, placing) {
			break
		}
		order = append(order, f.pads[p].kind)
	}
	if f.frozen(d.ref, placing) {
		return out // it may thaw
	}
	carry := w.carry(at, now, begin)
	n, by := 0, finishFirst
	for _, r := range []rule{placeFirst, finishFirst} {
		if k := f.line.lay(crew, d.hours, begin, order, d.ref, carry, f.clearing(begin), r); k >= n {
			n, by = k, r
		}
	}
	if n == 0 {
		return out
	}
	f.line.lay(crew, d.hours, begin, order, d.ref, carry, f.clearing(begin), by)
	for k := range n {
		from := f.line.place0[k]
		s := order[k].slabs.At(d.ref, from)
		p := hourly.Placed{Place: from - w.offset, Finish: f.line.fin1[n-1][k] - w.offset, Set: from + s.Initial - w.offset}
		p.Frost, p.FrostBlanket = w.frost(order[k], from)
		out.Pads = append(out.Pads, p)
	}
	return out
}

// frost returns the chance that a pad placed at a minute freezes, as it lies and
// under a blanket.
func (w *Workday) frost(k *work, from float64) (bare, blanket float64) {
	for t, members := range w.f.byTrk {
		if len(members) == 0 {
			continue
		}
		share := float64(len(members)) / float64(len(w.f.skies))
		if !k.slabs.At(t, from).Freezes {
			continue
		}
		bare += share
		under := slabs.Kind{Thickness: k.slabs.Thickness, Cover: "blanket", CoverR: w.f.coverResistance("blanket"), WaterC: w.f.cover.WaterC}
		if w.f.nodesFor(under).At(t, from).Freezes {
			blanket += share
		}
	}
	return min(bare, 1), min(blanket, 1)
}

// free reports whether everything that a pad waits for has come by a minute.
func (w *Workday) free(pad int, at float64) bool {
	for _, a := range w.f.pads[pad].after {
		p := &w.f.pads[a.pad]
		switch {
		case p.left && a.until == pour.Placed:
		case p.left, a.until == pour.Stripped && p.strip > at, a.until == pour.Cured && p.cured > at:
			return false
		}
	}
	return true
}

// carry returns today's pads that still wait for their finish when placing goes
// on at a minute: until then others are finished.
func (w *Workday) carry(at *Moment, now, begin float64) []soft {
	ref := w.f.days[w.day].ref
	var out []soft
	for _, p := range at.Placed {
		pad, ok := w.f.byName[p.Pad]
		if !ok || p.Finished {
			continue
		}
		k := w.f.pads[pad].kind
		from, until := k.slabs.Window(ref, w.f.minute(p.At))
		from = max(from, now)
		need := k.finish / float64(k.finishers)
		if math.IsInf(until, 1) || until < from+need || from+need <= begin {
			continue // beyond help, or done while the crew waits
		}
		out = append(out, soft{from, until, k.finish, k.cover, k.finishers, -1 - len(out)})
	}
	return out
}

// terminal fills what is left to lose from tomorrow on.
func (w *Workday) terminal(d *hourly.Day, at *Moment, left []int) {
	var s state
	count := func(pad int) {
		g, _ := w.m.place(pad)
		s.pos[g]++
	}
	var today batch
	for _, p := range w.order {
		if i := indexOf(left, p); i < 0 {
			count(p)
			g, _ := w.m.place(p)
			today.n[g]++
		}
	}
	now := w.f.minute(at.Now)
	strip := now + w.f.pads[left[0]].kind.slabs.Whole(w.f.days[w.day].ref, now).Strip
	cured := now + w.f.pads[left[0]].kind.slabs.Whole(w.f.days[w.day].ref, now).Cured
	today.strip, today.cured = w.m.readyFor(w.day, strip), w.m.readyFor(w.day, cured)
	value := func() float64 {
		next := s
		if today.n != [mostGroups]uint8{} {
			w.m.push(&next, today)
		}
		return w.m.value(w.day+1, next)
	}
	d.Left = append(d.Left[:0], value())
	for _, p := range left {
		count(p)
		g, _ := w.m.place(p)
		today.n[g]++
		d.Left = append(d.Left, value())
	}
}

func indexOf(v []int, x int) int {
	for i, y := range v {
		if y == x {
			return i
		}
	}
	return -1
}
