package planner

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Up to 8 pads of different sizes: no order of the planned day's pads, by
// either rule of work, leaves fewer idle minutes unless it costs more or is
// stripped later.
func TestTheOrderOfADayIsProved(t *testing.T) {
	r := rand.New(rand.NewPCG(51, 3))
	moved, days := 0, 0
	for range 25 {
		spec := gridJob(1, 3+r.IntN(4), 1, 1, 0.08, false, 1+r.IntN(2), 0, 0)
		for i := range spec.Pads {
			spec.Pads[i].LengthM, spec.Pads[i].WidthM = 0.6+1.4*r.Float64(), 0.6+r.Float64()
		}
		job := jobFor(spec, weather(8, 12, 1, mild, dry), 4)
		f, err := newFrame(t.Context(), &job)
		if err != nil {
			t.Fatal(err)
		}
		m := newModel(f, f.first(), true, nil)
		for _, p := range m.path(nil) {
			if len(p.pads) < 2 || len(p.pads) > provedOrder {
				continue
			}
			days++
			was := p
			d := &f.days[p.day]
			f.orders(p.pads, func(pads []int) {
				for _, rule := range [...]rule{finishFirst, placeFirst} {
					order := m.orderOf(pads)
					n := f.line.lay(f.crew, d.hours, p.start, order, d.ref, d.carry, f.clearing(p.start), rule)
					if n < len(pads) {
						continue
					}
					c := f.judgeStart(d, p.start, order, f.clearing(p.start), rule)[n-1]
					if c.end < was.cell.end-1-1e-9 && c.strip <= was.cell.strip && c.cured <= was.cell.cured && c.worst <= was.cell.worst && c.lost == was.cell.lost {
						t.Fatalf("%v ends at %.0f, %v at %.0f", f.names(p.pads), was.cell.end, f.names(pads), c.end)
					}
				}
			})
			if f.idle(&p) < 0 {
				t.Error("more work than time")
			}
			for i := 1; i < len(p.pads); i++ {
				if p.pads[i] < p.pads[i-1] {
					moved++
					break
				}
			}
		}
	}
	if days < 10 || moved == 0 {
		t.Errorf("%d days, %d of them in another order than listed: too few to tell", days, moved)
	}
}

// idle returns the minutes of a day's crew that no work fills.
func (f *frame) idle(p *planned) float64 {
	spent := 0.0
	for _, pad := range p.pads {
		k := f.pads[pad].kind
		spent += k.place + k.finish + k.cover*float64(k.finishers)
	}
	return math.Max(0, (p.cell.end-p.start-f.crew.setUp-f.crew.cleanUp)*float64(f.crew.people)-spent)
}
