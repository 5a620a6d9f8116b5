package planner

import (
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"

	"math"
	"slices"
	"strconv"
	"strings"
)

// blocked says why a day is not feasible.
type blocked uint8

const (
	feasible  blocked = iota
	noTime            // finishing would break its window, the light or the crew's hours
	byThunder         // thunder over the work
	byFrost           // the base is frozen
)

// cell is the day's work that begins at one start with the first n pads of an
// order, judged over the members.
type cell struct {
	why  blocked
	rule crewday.Rule
	// Sums over the members of the expected number of pads lost, and of the
	// chance that any is, when placing stops for rain that is seen or due; by
	// half, then without and with rain in the day.
	lost, any [2][2]float64
	stop      [2][]float64 // by number of pads placed before such a stop, or before the day is too far gone: members of the choosing half; all n: none stops
	risk      float64      // greatest chance that one pad is lost or can't be begun, over all members
	worst     float64      // greatest chance of losing one pad when nobody stops, as stated: what is told keeps the limit
	worstOf   [2]float64   // the same without and with rain in the day
	begins    []float64    // when each of them is begun, and those after
	end       float64
	strip     float64 // when all of them can be stripped
	cured     float64
}

// table is a morning judged for one order of pads: for every start and for
// the first n pads of the order.
type table struct {
	day   int
	order []*crewday.Work
	cells [][]cell // by start, then n-1
	count [2][2]float64
	most  int // most pads feasible at any start
}

// tableFor returns the table of a morning and an order of pads.
func (f *frame) tableFor(day int, order []*crewday.Work) *table {
	order = f.fitting(day, order)
	key := f.tableKey(day, order)
	t, ok := f.tabs[key]
	if !ok {
		t = f.judge(day, order)
		f.tabs[key] = t
	}
	return t
}

// tableKey names a morning and an order of pads.
func (f *frame) tableKey(day int, order []*crewday.Work) string {
	var b strings.Builder
	b.WriteString(strconv.Itoa(day))
	for _, k := range order {
		for i, kk := range f.kinds {
			if k == kk {
				b.WriteByte(',')
				b.WriteString(strconv.Itoa(i))
			}
		}
	}
	return b.String()
}

// fitting cuts an order where the crew's hours of a morning could not hold it.
func (f *frame) fitting(day int, order []*crewday.Work) []*crewday.Work {
	d := &f.days[day]
	if len(d.starts) == 0 {
		return order[:min(1, len(order))]
	}
	room := (d.hours.CleanedUp - d.starts[0] - f.crew.SetUp - f.crew.CleanUp) * float64(f.crew.People)
	for i, k := range order {
		if room -= k.Place + k.Finish; room < -1e-6 || i == crewday.MostPads || f.most > 0 && i == f.most {
			return order[:i]
		}
	}
	return order
}

// judge fills a table.
func (f *frame) judge(day int, order []*crewday.Work) *table {
	d := &f.days[day]
	t := &table{day: day, order: order, cells: make([][]cell, len(d.starts))}
	for m := range f.skies {
		t.count[f.half(m)][flag(d.bad[m])]++
	}
	for i, s := range d.starts {
		clear := f.clearing(s)
		t.cells[i] = f.judgeStart(d, s, order, clear, crewday.FinishFirst)
		if clear > 0 {
			// The delay must not make a wetter night look better: the score goes
			// by the greater risk of the two.
			prompt := f.judgeStart(d, s, order, 0, crewday.FinishFirst)
			for k := range min(len(prompt), len(t.cells[i])) { // a delay may fit more pads than none
				t.cells[i][k].risk = max(t.cells[i][k].risk, prompt[k].risk)
			}
		}
		f.line.LayOut(f.crew, d.hours, s, order, d.ref, d.carry, clear, crewday.PlaceFirst)
		if have := len(t.cells[i]); f.line.N > have {
			t.cells[i] = append(t.cells[i], f.judgeStart(d, s, order, clear, crewday.PlaceFirst)[have:]...)
		}
		t.most = max(t.most, len(t.cells[i]))
	}
	return t
}

func flag(b bool) int {
	if b {
		return 1
	}
	return 0
}

// exposed is one pad's soft time under one track, in hours of the scenarios.
type exposed struct {
	from, initial, final int
	gone                 bool // lost whatever the rain: frost, or it never sets
	inspect              bool // evaporation past "act" for over an hour
}

// expose returns the exposure of the pads that the timeline holds.
func (f *frame) expose(track int, order []*crewday.Work, n int, into []exposed) []exposed {
	into = into[:0]
	for j := range n {
		s := order[j].Slabs.At(track, f.line.Place0[j])
		e := exposed{from: hourOf(f.line.Place0[j]), gone: s.Freezes || s.Impossible, inspect: harm.DryingInspects(s.Over1)}
		e.initial = hourAfter(f.line.Place0[j] + s.Initial)
		e.final = hourAfter(f.line.Place0[j] + s.Final)
		into = append(into, e)
	}
	return into
}

// loss returns the chance that a member spoils a pad, given when its finishing
// ends.
func (f *frame) loss(s *sky, e *exposed, finished float64, covered bool) float64 {
	if e.gone {
		return 1
	}
	soft := e.initial
	done := hourAfter(finished)
	if covered {
		if s.harm.before(e.from, min(soft, done)) || s.over.before(min(soft, done), soft) {
			return 1
		}
	} else if s.harm.before(e.from, soft) {
		return 1
	}
	if f.spec.Limits.Harm == nil && s.light.before(e.from, min(soft, done)) {
		return harm.LightLoses
	}
	return 0
}

// judgeStart judges one start for every number of pads that is feasible in
// the middle track.
func (f *frame) judgeStart(d *morning, start float64, order []*crewday.Work, clear float64, r crewday.Rule) []cell {
	f.budget.do(len(f.skies))
	cells := f.layOut(d, start, order, clear, r)
	n := len(cells)
	if n == 0 {
		return cells
	}
	f.thunder(cells, start)
	acc := make([]float64, 5*n*n) // by n and pad: lost, by half and rain; then not begun
	stops := make([]float64, n*(n+3))
	for i := range cells {
		for rain := range cells[i].stop {
			cells[i].stop[rain], stops = stops[:i+2:i+2], stops[i+2:]
		}
	}
	var exp []exposed
	covered := f.cover.Cover != ""
	for k, members := range f.byTrk {
		if len(members) == 0 {
			continue
		}
		reach := f.line.LayOut(f.crew, d.hours, start, order[:n], k, d.carry, clear, r)
		exp = f.expose(k, order, reach, exp)
		ice := f.frozen(k, start+f.crew.SetUp)
		from, until, sure := span(exp)
		for _, m := range members {
			s := &f.skies[m]
			at := 2*f.half(m) + flag(d.bad[m])
			if reach == n && !ice && !sure && !s.light.before(from, until) && !s.harm.before(from, until) {
				if at < 2 {
					for i := range cells {
						cells[i].stop[at][i+1]++
					}
				}
				continue // nothing can happen
			}
			f.count(cells, acc, exp, s, at, ice, covered)
		}
	}
	f.settle(cells, acc, d)
	return cells
}

// layOut returns the cells of one start for every number of pads that can be done
// in the middle track, with their times and no chances yet.
func (f *frame) layOut(d *morning, start float64, order []*crewday.Work, clear float64, r crewday.Rule) []cell {
	n := f.line.LayOut(f.crew, d.hours, start, order, d.ref, d.carry, clear, r)
	cells := make([]cell, n)
	begins := slices.Clone(f.line.Place0[:n])
	for i := range cells {
		c := &cells[i]
		c.rule, c.end, c.begins = r, f.line.End[i], begins
		if i > 0 {
			c.strip, c.cured = cells[i-1].strip, cells[i-1].cured
		}
		s := order[i].Slabs.Whole(d.ref, f.line.Place0[i])
		c.strip = max(c.strip, f.line.Place0[i]+s.Strip)
		c.cured = max(c.cured, f.line.Place0[i]+s.Cured)
		if f.frozen(d.ref, start+f.crew.SetUp) {
			c.why = byFrost
		}
	}
	return cells
}

// span returns the hours that any of the pads is soft, and whether one is lost
// whatever the rain.
func span(exp []exposed) (from, until int, sure bool) {
	from = math.MaxInt32
	for i := range exp {
		from, until = min(from, exp[i].from), max(until, exp[i].initial)
		sure = sure || exp[i].gone
	}
	return from, until, sure
}

// count adds one member's harm to the sums.
func (f *frame) count(cells []cell, acc []float64, exp []exposed, s *sky, at int, ice, covered bool) {
	n := len(cells)
	// What can't be finished in this weather is not begun, nor is anything on a
	// frozen base: lost time, not lost pads.
	stop := min(s.stopsAt(exp), len(exp))
	if ice {
		stop = 0
	}
	for i := range cells {
		sum, none := 0.0, 1.0
		for j := 0; j <= i; j++ {
			if ice || j >= len(exp) {
				acc[5*(i*n+j)+4]++
				continue
			}
			l := f.loss(s, &exp[j], f.line.Fin1[min(i, len(exp)-1)][j], covered)
			acc[5*(i*n+j)+at] += l
			if j < stop {
				sum += l
				none *= 1 - l
			}
		}
		cells[i].lost[at>>1][at&1] += sum
		cells[i].any[at>>1][at&1] += 1 - none
		if at < 2 {
			cells[i].stop[at][min(i+1, stop)]++
		}
	}
}

// stopsAt returns how many pads are placed before rain that is seen or due
// within the hour stops the placing (KeepPlacing).
func (s *sky) stopsAt(exp []exposed) int {
	for j := range exp {
		if s.light.before(exp[j].from, min(exp[j].from+2, len(s.light)-1)) {
			return j
		}
	}
	return math.MaxInt32
}

// settle finds the greatest chance of losing one pad in each cell.
func (f *frame) settle(cells []cell, acc []float64, d *morning) {
	var count [4]float64
	for m := range f.skies {
		count[2*f.half(m)+flag(d.bad[m])]++
	}
	n := len(cells)
	all := count[0] + count[1] + count[2] + count[3]
	for i := range cells {
		c := &cells[i]
		for j := 0; j <= i; j++ {
			a := acc[5*(i*n+j) : 5*(i*n+j)+5]
			lost := (a[0] + a[1] + a[2] + a[3]) / all
			c.risk = max(c.risk, lost+a[4]/all)
			if f.halves == 2 {
				lost = (a[2] + a[3]) / (count[2] + count[3])
			}
			c.worst = max(c.worst, lost)
			c.worstOf[0] = max(c.worstOf[0], ratio(a[0]+a[2], count[0]+count[2]))
			c.worstOf[1] = max(c.worstOf[1], ratio(a[1]+a[3], count[1]+count[3]))
		}
	}
}

func ratio(a, b float64) float64 {
	if b == 0 {
		return 0
	}
	return a / b
}

// thunder blocks the cells whose work would have thunder over it.
func (f *frame) thunder(cells []cell, start float64) {
	from := hourOf(start)
	for i := range cells {
		n := 0
		for m := range f.skies {
			if f.skies[m].thunder.before(from, min(hourAfter(cells[i].end), f.wx.Hours)) {
				n++
			}
		}
		if float64(n) >= thunderShare*float64(len(f.skies)) && n > 0 && cells[i].why == feasible {
			cells[i].why = byThunder
		}
	}
}
