package policy

import (
	"context"
	"math"

	"dryslot/internal/planner/crewday"
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
	w.layOut(d, at, left)
	return d, left[0]
}

// layOut fills a day with the pads left: as they would be placed from each hour
// on, when they are ready, and what is left to lose.
func (w *Workday) layOut(d *hourly.Day, at *Moment, left []int) {
	now := d.Now + w.offset
	for step := range mostHourSteps {
		begin := now
		if step > 0 {
			begin = (math.Floor(now/60) + float64(step)) * 60
		}
		if begin >= w.f.Days[w.day].Hours.CleanedUp {
			break
		}
		d.Runs = append(d.Runs, w.run(at, now, begin, left))
	}
	for _, p := range left {
		d.Ready = append(d.Ready, w.ready(p)-w.offset)
	}
	w.terminal(d, at, left)
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
	f, d := w.f, &w.f.Days[w.day]
	out := hourly.Run{Begin: begin - w.offset}
	crew, placing := f.Crew, begin
	if at.SetUp {
		crew.SetUp = 0
	}
	placing += crew.SetUp
	order := make([]*crewday.Work, len(left))
	for i, p := range left {
		order[i] = f.Pads[p].Kind
	}
	if f.Frozen(d.Track, placing) {
		return out // it may thaw
	}
	carry := w.carry(at, now, begin)
	n, by := 0, crewday.FinishFirst
	for _, r := range []crewday.Rule{crewday.PlaceFirst, crewday.FinishFirst} {
		if k := f.line.LayOut(crew, d.Hours, begin, order, d.Track, carry, f.clearing(begin), r); k >= n {
			n, by = k, r
		}
	}
	if n == 0 {
		return out
	}
	f.line.LayOut(crew, d.Hours, begin, order, d.Track, carry, f.clearing(begin), by)
	for k := range n {
		from := f.line.Place0[k]
		if w.ready(left[k]) > from {
			n, out.More = k, true // what comes after it waits too: the order is kept
			break
		}
	}
	for k := range n {
		from := f.line.Place0[k]
		s := order[k].Slabs.At(d.Track, from)
		p := hourly.Placed{Place: from - w.offset, Finish: f.line.Fin1[n-1][k] - w.offset, Set: from + s.Initial -
			w.offset}
		p.Frost, p.FrostBlanket = w.frost(order[k], from)
		out.Pads = append(out.Pads, p)
	}
	return out
}

// frost returns the chance that a pad placed at a minute freezes, as it lies and
// under a blanket.
func (w *Workday) frost(k *crewday.Work, from float64) (bare, blanket float64) {
	for t, members := range w.f.MembersOf {
		if len(members) == 0 {
			continue
		}
		share := float64(len(members)) / float64(len(w.f.Skies))
		if !k.Slabs.At(t, from).Freezes {
			continue
		}
		bare += share
		under := k.Slabs.Kind
		under.Cover, under.CoverR = pour.Blanket, slabs.CoverResistance(w.f.Spec.Stock, pour.Blanket)
		if w.f.nodesFor(under).At(t, from).Freezes {
			blanket += share
		}
	}
	return min(bare, 1), min(blanket, 1)
}

// ready returns the minute by which everything has come that a pad waits for;
// +Inf where that is not today.
func (w *Workday) ready(pad int) float64 {
	at := math.Inf(-1)
	for _, a := range w.f.Pads[pad].After {
		p := &w.f.Pads[a.Pad]
		switch {
		case p.Left && a.Until == pour.Placed:
		case p.Left:
			return math.Inf(1)
		case a.Until == pour.Stripped:
			at = max(at, p.Strip)
		case a.Until == pour.Cured:
			at = max(at, p.Cured)
		}
	}
	return at
}

// carry returns today's pads that still wait for their finish when placing goes
// on at a minute: until then others are finished.
func (w *Workday) carry(at *Moment, now, begin float64) []crewday.Soft {
	ref := w.f.Days[w.day].Track
	var out []crewday.Soft
	for _, p := range at.Placed {
		pad, ok := w.f.byName[p.Pad]
		if !ok || p.Finished {
			continue
		}
		k := w.f.Pads[pad].Kind
		from, until := k.Slabs.Window(ref, w.f.Minute(p.At))
		from = max(from, now)
		need := k.Finish / float64(k.Finishers)
		if math.IsInf(until, 1) || until < from+need || from+need <= begin {
			continue // beyond help, or done while the crew waits
		}
		out = append(out, crewday.Soft{From: from, Until: until, Finish: k.Finish, Cover: k.Cover,
			Finishers: k.Finishers, Pad: -1 - len(out)})
	}
	return out
}

// terminal fills what is left to lose from tomorrow on. Today's pads are handed
// on in at most three lots that are stripped at different times: those placed
// already, and the earlier and the later half of those to come.
func (w *Workday) terminal(d *hourly.Day, at *Moment, left []int) {
	var s State
	var before batch
	now := w.f.Minute(at.Now)
	for _, p := range at.Placed {
		if i, ok := w.f.byName[p.Pad]; ok && w.f.Pads[i].Left {
			w.count(&s, &before, i)
			w.lies(&before, i, w.f.Minute(p.At))
		}
	}
	if before.n != [MostGroups]uint8{} {
		w.m.push(&s, before)
	}
	hours := 1
	if len(d.Runs) > 0 {
		hours += int(d.Runs[len(d.Runs)-1].Begin/60) - int(d.Now/60)
	}
	for h := range hours {
		last := now
		if h > 0 {
			last = (math.Floor(now/60) + float64(h)) * 60
		}
		row := make([]float64, len(left)+1)
		for k := range row {
			next := s
			for _, part := range []struct {
				pads []int
				last float64
			}{{left[:k/2], (now + last) / 2}, {left[k/2 : k], last}} {
				if len(part.pads) == 0 {
					continue
				}
				var b batch
				for _, p := range part.pads {
					w.count(&next, &b, p)
				}
				w.lies(&b, part.pads[0], part.last)
				w.m.push(&next, b)
			}
			row[k] = w.m.value(w.day+1, next)
		}
		d.Left = append(d.Left, row)
	}
}

// count moves a state on by a pad of a lot.
func (w *Workday) count(s *State, b *batch, pad int) {
	g, _ := w.m.Place(pad)
	s.Pos[g]++
	b.n[g]++
}

// lies sets when a lot is stripped and cured whose last pad is placed at a minute.
func (w *Workday) lies(b *batch, pad int, placed float64) {
	slab := w.f.Pads[pad].Kind.Slabs.Whole(w.f.Days[w.day].Track, placed)
	b.Strip = max(b.Strip, w.m.readyFor(w.day, placed+slab.Strip))
	b.Cured = max(b.Cured, w.m.readyFor(w.day, placed+slab.Cured))
}
