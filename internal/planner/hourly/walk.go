package hourly

import "math"

// walk follows rules through the rest of the day in each member.
type walk struct {
	f     *foreseen
	runAt []int    // by hour from the first: the run that begins then or next after; -1: none
	fates [][]fate // by run and pad, of each member: [run*pads+pad][member]
	most  int
	steps int
	ruled bool // the first action follows the rule too
}

type best struct{ loss, pads float64 }

func newWalk(f *foreseen) *walk {
	d := f.day
	w := &walk{f: f}
	for _, r := range d.Runs {
		w.most = max(w.most, len(r.Pads))
	}
	w.runAt = make([]int, f.hours+1)
	for h := range w.runAt {
		w.runAt[h] = -1
		for i := len(d.Runs) - 1; i > 0; i-- {
			if d.Runs[i].Begin >= float64(f.first+h)*60 {
				w.runAt[h] = i
			}
		}
	}
	w.fates = make([][]fate, len(d.Runs)*w.most)
	for i, r := range d.Runs {
		for k, p := range r.Pads {
			at := make([]fate, len(f.rain))
			for m, rain := range f.rain {
				at[m] = d.fateOf(rain, p, d.Placed+k)
			}
			w.fates[i*w.most+k] = at
		}
	}
	return w
}

// least returns the least expected loss after a first action: exactly where the
// members are few, else that of the best rule.
func (w *walk) least(place bool) best {
	if len(w.f.rain) <= exactMembers {
		if b, ok := w.exact(place); ok {
			return b
		}
	}
	return w.over(place)
}

// over returns the least expected loss of the rules after a first action.
func (w *walk) over(place bool) best {
	out := best{loss: math.Inf(1)}
	for _, t := range thresholds {
		var b best
		for m, q := range w.f.prior {
			if q < negligible {
				continue
			}
			loss, pads := w.follow(m, place, t)
			b.loss += q * loss
			b.pads += q * float64(pads)
		}
		if b.loss < out.loss {
			out = b
		}
	}
	return out
}

// follow walks one member's day: first the action, then the rule of a
// threshold. It returns the loss and how many pads are placed.
func (w *walk) follow(m int, place bool, threshold float64) (loss float64, placed int) {
	t := w.through(m, place, threshold)
	return w.f.day.loss(t), t.placed
}

// through walks a member's day as follow does, and returns its counts without
// working out their loss.
func (w *walk) through(m int, place bool, threshold float64) tally {
	d := w.f.day
	placed := 0
	run, in := 0, 0
	var lost, inspect, work float64
	waited, pending := 0, 0 // hours; those after which nothing is placed are the end of the day
	last := 0               // hour in which the last pad is placed
	first := !w.ruled
	for run >= 0 && placed < d.pads() {
		w.steps++
		h, asked, over := w.at(run, in, placed)
		if over {
			break
		}
		goOn := asked && place
		if !first {
			goOn = asked && h < w.f.hours && w.f.risk[m*w.f.hours+h] < threshold && !w.thunder(m, h)
		}
		first = false
		if goOn {
			x := w.fates[run*w.most+in][m]
			lost += x.lost
			work += x.work
			inspect += x.inspect
			placed++
			in++
			last = h
			waited, pending = waited+pending, 0
			continue
		}
		if h+1 >= len(w.runAt) {
			break
		}
		next := w.runAt[h+1]
		if next == run {
			break
		}
		run, in = next, 0
		if asked && placed+d.Placed > 0 {
			pending++
		}
	}
	return tally{lost, inspect, work, waited, placed, last}
}

// at returns the hour at which the next pad would be placed, and whether it can
// be: where it is not ready, or none can be begun while others are finished, the
// crew goes on at the next hour and has not waited. over is true where the day
// holds no more than the run had.
func (w *walk) at(run, in, placed int) (hour int, can, over bool) {
	d := w.f.day
	r := &d.Runs[run]
	at := r.Begin
	switch {
	case in < len(r.Pads):
		at = r.Pads[in].Place
		can = d.ready(placed, at)
	case in > 0:
		at = r.Pads[in-1].Place
		over = !r.More
	}
	return int(at/60) - w.f.first, can, over
}

// tally is what a walk through a day comes to.
type tally struct {
	lost, inspect, work float64
	waited, placed      int
	last                int // hour in which the last pad is placed, from the present one
}

func (d *Day) loss(t tally) float64 {
	c := d.Costs
	return t.work + c.LostPad*t.lost + c.InspectPad*t.inspect + c.WaitedHour*float64(
		t.waited,
	) + d.left(
		t.last,
		float64(t.placed)-t.lost,
	)
}

func (w *walk) thunder(m, h int) bool {
	t := w.f.day.Members[w.f.who[m]].Thunder
	return t != nil && t[w.f.first+h]
}
