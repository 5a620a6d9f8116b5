package policy

import (
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"

	"math"
	"slices"
	"strconv"
	"strings"
)

// Blocked says why a day is not feasible.
type Blocked uint8

const (
	Feasible  Blocked = iota
	noTime            // finishing would break its window, the light or the crew's hours
	ByThunder         // thunder over the work
	ByFrost           // the base is frozen
)

// cell is the day's work that begins at one start with the first n pads of an
// order, judged over the members.
type cell struct {
	Why  Blocked
	Rule crewday.Rule
	// Sums over the members of the expected number of pads lost, and of the
	// chance that any is, when placing stops for rain that is seen or due; by
	// half, then without and with rain in the day.
	lost, any [2][2]float64
	// stop is, by number of pads placed before such a stop, or before the day is too
	// far gone, the members of the choosing half; all n: none stops.
	stop    [2][]float64
	Risk    float64    // greatest chance that one pad is lost or can't be begun, over all members
	Worst   float64    // greatest chance, as stated, of losing one pad when nobody stops: it is held to the limit
	worstOf [2]float64 // the same without and with rain in the day
	begins  []float64  // when each of them is begun, and those after
	end     float64
	strip   float64 // when all of them can be stripped
	cured   float64
}

// table is a morning judged for one order of pads: for every start and for
// the first n pads of the order.
type table struct {
	day   int
	Order []*crewday.Work
	Cells [][]cell // by start, then n-1
	count [2][2]float64
	most  int // most pads feasible at any start
}

// TableFor returns the table of a morning and an order of pads.
func (f *Prepared) TableFor(day int, order []*crewday.Work) *table {
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
func (f *Prepared) tableKey(day int, order []*crewday.Work) string {
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

// fitting cuts an order where the crew's hours of a morning could not hold it. One
// of equal pads is left whole: mornings of other hours share its starts.
func (f *Prepared) fitting(day int, order []*crewday.Work) []*crewday.Work {
	d := &f.Days[day]
	if !slices.ContainsFunc(order, func(k *crewday.Work) bool { return k != order[0] }) {
		most := crewday.MostPads
		if f.most > 0 {
			most = min(most, f.most)
		}
		return order[:min(len(order), most)]
	}
	if len(d.Starts) == 0 {
		return order[:min(1, len(order))]
	}
	room := (d.Hours.CleanedUp - d.Starts[0] - f.Crew.SetUp - f.Crew.CleanUp) * float64(f.Crew.People)
	for i, k := range order {
		if room -= k.Place + k.Finish; room < -1e-6 || i == crewday.MostPads || f.most > 0 && i == f.most {
			return order[:i]
		}
	}
	return order
}

// judge fills a table.
func (f *Prepared) judge(day int, order []*crewday.Work) *table {
	d := &f.Days[day]
	t := &table{day: day, Order: order, Cells: make([][]cell, len(d.Starts))}
	for m := range f.Skies {
		t.count[f.half(m)][Flag(d.bad[m])]++
	}
	key := f.rowKeyOf(d, order)
	for i, s := range d.Starts {
		key.start = s
		row, ok := f.rows[key]
		if !ok || len(d.carry) > 0 {
			row = f.judgeRow(d, s, order)
			if len(d.carry) == 0 {
				f.rows[key] = row
			}
		}
		t.Cells[i] = row
		t.most = max(t.most, len(row))
	}
	return t
}

// judgeRow judges one start for every number of pads.
func (f *Prepared) judgeRow(d *Day, start float64, order []*crewday.Work) []cell {
	clear := f.clearing(start)
	row := f.judgeStart(d, start, order, clear, crewday.FinishFirst)
	if clear > 0 {
		// The delay must not make a wetter night look better: the score goes
		// by the greater risk of the two.
		prompt := f.judgeStart(d, start, order, 0, crewday.FinishFirst)
		for k := range min(len(prompt), len(row)) { // a delay may fit more pads than none
			row[k].Risk = max(row[k].Risk, prompt[k].Risk)
		}
	}
	f.line.LayOut(f.Crew, d.Hours, start, order, d.Track, d.carry, clear, crewday.PlaceFirst)
	if have := len(row); f.line.N > have {
		row = append(row, f.judgeStart(d, start, order, clear, crewday.PlaceFirst)[have:]...)
	}
	return row
}

// rowKey is all that one start's cells depend on besides the members. Plans that
// are made together, as those that remedies are tried by, share them.
type rowKey struct {
	start, noon float64
	hours       crewday.Hours
	crew        crewday.Crew
	cover, base string
	order       string
}

func (f *Prepared) rowKeyOf(d *Day, order []*crewday.Work) rowKey {
	var b strings.Builder
	for _, k := range order {
		n, ok := f.works[*k]
		if !ok {
			n = len(f.works)
			f.works[*k] = n
		}
		b.WriteString(strconv.Itoa(n))
		b.WriteByte(',')
	}
	return rowKey{noon: d.Noon, hours: d.Hours, crew: f.Crew, cover: f.Cover.Cover, base: f.baseCover(),
		order: b.String()}
}

func Flag(b bool) int {
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
func (f *Prepared) expose(track int, order []*crewday.Work, n int, into []exposed) []exposed {
	into = into[:0]
	for j := range n {
		s := order[j].Slabs.At(track, f.line.Place0[j])
		e := exposed{from: HourOf(f.line.Place0[j]), gone: s.Freezes || s.Impossible,
			inspect: harm.DryingInspects(s.Over1)}
		e.initial = HourAfter(f.line.Place0[j] + s.Initial)
		e.final = HourAfter(f.line.Place0[j] + s.Final)
		into = append(into, e)
	}
	return into
}

// loss returns the chance that a member spoils a pad, given when its finishing
// ends.
func (f *Prepared) loss(s *sky, e *exposed, finished float64, covered bool) float64 {
	if e.gone {
		return 1
	}
	soft := e.initial
	done := HourAfter(finished)
	if covered {
		if s.harm.Before(e.from, min(soft, done)) || s.over.Before(min(soft, done), soft) {
			return 1
		}
	} else if s.harm.Before(e.from, soft) {
		return 1
	}
	if f.Spec.Limits.Harm == nil && s.Light.Before(e.from, min(soft, done)) {
		return harm.LightLoses
	}
	return 0
}

// judgeStart judges one start for every number of pads that is feasible in
// the middle track.
func (f *Prepared) judgeStart(d *Day, start float64, order []*crewday.Work, clear float64, r crewday.Rule) []cell {
	f.budget.do(len(f.Skies))
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
	covered := f.Cover.Cover != ""
	for k, members := range f.MembersOf {
		if len(members) == 0 {
			continue
		}
		reach := f.line.LayOut(f.Crew, d.Hours, start, order[:n], k, d.carry, clear, r)
		exp = f.expose(k, order, reach, exp)
		ice := f.Frozen(k, start+f.Crew.SetUp)
		from, until, sure := span(exp)
		for _, m := range members {
			s := &f.Skies[m]
			at := 2*f.half(m) + Flag(d.bad[m])
			if reach == n && !ice && !sure && !s.Light.Before(from, until) && !s.harm.Before(from, until) {
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
func (f *Prepared) layOut(d *Day, start float64, order []*crewday.Work, clear float64, r crewday.Rule) []cell {
	n := f.line.LayOut(f.Crew, d.Hours, start, order, d.Track, d.carry, clear, r)
	cells := make([]cell, n)
	begins := slices.Clone(f.line.Place0[:n])
	for i := range cells {
		c := &cells[i]
		c.Rule, c.end, c.begins = r, f.line.End[i], begins
		if i > 0 {
			c.strip, c.cured = cells[i-1].strip, cells[i-1].cured
		}
		s := order[i].Slabs.Whole(d.Track, f.line.Place0[i])
		c.strip = max(c.strip, f.line.Place0[i]+s.Strip)
		c.cured = max(c.cured, f.line.Place0[i]+s.Cured)
		if f.Frozen(d.Track, start+f.Crew.SetUp) {
			c.Why = ByFrost
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
func (f *Prepared) count(cells []cell, acc []float64, exp []exposed, s *sky, at int, ice, covered bool) {
	n := len(cells)
	// What can't be finished in this weather is not begun: lost time, not lost
	// pads. Nor is anything on a frozen base, which counts as harm all the same:
	// a plan that would often meet one is no plan.
	stop := min(s.stopsAt(exp), len(exp))
	if ice {
		stop = 0
	}
	for i := range cells {
		sum, none := 0.0, 1.0
		for j := 0; j <= i; j++ {
			if ice {
				acc[5*(i*n+j)+at]++
				continue
			}
			if j >= len(exp) {
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
		if s.Light.Before(exp[j].from, min(exp[j].from+2, len(s.Light)-1)) {
			return j
		}
	}
	return math.MaxInt32
}

// settle finds the greatest chance of losing one pad in each cell.
func (f *Prepared) settle(cells []cell, acc []float64, d *Day) {
	var count [4]float64
	for m := range f.Skies {
		count[2*f.half(m)+Flag(d.bad[m])]++
	}
	n := len(cells)
	all := count[0] + count[1] + count[2] + count[3]
	for i := range cells {
		c := &cells[i]
		for j := 0; j <= i; j++ {
			a := acc[5*(i*n+j) : 5*(i*n+j)+5]
			lost := (a[0] + a[1] + a[2] + a[3]) / all
			c.Risk = max(c.Risk, lost+a[4]/all)
			if f.halves == 2 {
				lost = (a[2] + a[3]) / (count[2] + count[3])
			}
			c.Worst = max(c.Worst, lost)
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
func (f *Prepared) thunder(cells []cell, start float64) {
	from := HourOf(start)
	for i := range cells {
		n := 0
		for m := range f.Skies {
			if f.Skies[m].Thunder.Before(from, min(HourAfter(cells[i].end), f.Weather.Hours)) {
				n++
			}
		}
		if float64(n) >= ThunderShare*float64(len(f.Skies)) && n > 0 && cells[i].Why == Feasible {
			cells[i].Why = ByThunder
		}
	}
}
