package concrete

import (
	"sync"

	"dryslot/internal/unit"
)

// Tables of the functions that every step asks for, linear between entries;
// beyond the ends of those over temperature the last entry holds. They are made once and never
// change.
const (
	tableFromC = -40.0
	tablePerK  = 8 // entries in a kelvin: rates are right to 1e-5
	tableSize  = 120*tablePerK + 1
)

// locate returns the entry at or below a temperature and the share of the way
// to the next.
func locate(t float64) (int, float64) {
	x := (t - tableFromC) * tablePerK
	if !(x > 0) {
		return 0, 0
	}
	if x >= tableSize-1 {
		return tableSize - 2, 1
	}
	i := int(x)
	return i, x - float64(i)
}

// entryC is the temperature of an entry.
func entryC(i int) unit.Celsius { return unit.Celsius(tableFromC + float64(i)/tablePerK) }

var saturations = sync.OnceValue(func() *[tableSize]float64 {
	var v [tableSize]float64
	for i := range v {
		v[i] = SaturationKPa(float64(entryC(i)))
	}
	return &v
})

var gainTable = sync.OnceValue(func() *[tableSize]Age {
	var v [tableSize]Age
	for i := range v {
		v[i] = Gain(entryC(i))
	}
	return &v
})

// linear returns a table's value at a temperature, and its slope per kelvin.
func linear(table *[tableSize]float64, t float64) (v, slope float64) {
	i, x := locate(t)
	d := table[i+1] - table[i]
	return table[i] + x*d, d * tablePerK
}

// gainAt is Gain from its table.
func gainAt(table *[tableSize]Age, t float64) Age {
	i, x := locate(t)
	a, b := &table[i], &table[i+1]
	return Age{a.Eurocode + x*(b.Eurocode-a.Eurocode), a.Arrhenius + x*(b.Arrhenius-a.Arrhenius),
		a.Freiesleben + x*(b.Freiesleben-a.Freiesleben)}
}

const (
	degreesPerH = 8
	degreesSize = 512*degreesPerH + 1 // to 21 days at 21 C; older than that the curve itself is asked
)

// hydrationTable is one cement's curve without its water: the degree over the
// ultimate degree, and the speed, which stops with frost.
type hydrationTable struct {
	curve  Hydration // with an ultimate degree of 1
	speed  [tableSize]float64
	degree [degreesSize]float64
}

func newHydrationTable(kind string) *hydrationTable {
	comp, err := CementComposition(kind)
	if err != nil {
		comp, _ = CementComposition("general")
	}
	h := HydrationOf(comp, 0.5)
	h.Ultimate = 1
	t := &hydrationTable{curve: h}
	for i := range t.speed {
		t.speed[i] = unfrozen(entryC(i)) * h.Speed(entryC(i))
	}
	for i := range t.degree {
		t.degree[i] = h.Degree(float64(i) / degreesPerH)
	}
	return t
}

var (
	generalTable = sync.OnceValue(func() *hydrationTable { return newHydrationTable("general") })
	rapidTable   = sync.OnceValue(func() *hydrationTable { return newHydrationTable("rapid") })
	slowTable    = sync.OnceValue(func() *hydrationTable { return newHydrationTable("slow") })
)

func hydrationTableOf(cement string) *hydrationTable {
	switch cement {
	case "rapid":
		return rapidTable()
	case "slow":
		return slowTable()
	}
	return generalTable()
}

func (h *hydrationTable) speedAt(t float64) float64 {
	i, x := locate(t)
	return h.speed[i] + x*(h.speed[i+1]-h.speed[i])
}

// degreeAt is the degree over the ultimate degree at an age in h at 21.1 C.
func (h *hydrationTable) degreeAt(ageH float64) float64 {
	x := ageH * degreesPerH
	if !(x < degreesSize-1) {
		return h.curve.Degree(ageH)
	}
	i := int(x)
	return h.degree[i] + (x-float64(i))*(h.degree[i+1]-h.degree[i])
}
