package slabs

import (
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/unit"
)

// frostKey names the base on one date under one track.
type frostKey struct {
	track int
	date  unit.Date
	cover string
}

// The base's night (judgement): a cover is laid on it at 18:00 the evening before
// and lies until the concrete comes.
const (
	baseCoverFrom = unit.Clock(18 * 60)
	baseHours     = 24
	frostLooksH   = 72 // hours back that the ground is followed for, as Solver.Bases does
)

// Frozen reports whether the base is frozen.
func (m *memory) Frozen(track int, at time.Time, cover string) bool {
	w := &m.tracks[track]
	h := int(at.Sub(w.Start).Hours())
	if h < 0 {
		return false // before all that is known: the pads there are placed already
	}
	if m.mildBefore(track, h) {
		return false
	}
	key := frostKey{track, unit.DateOf(at, m.opt.Zone), cover}
	frozen, ok := m.frosts.Get(key)
	midnight := key.date.At(0, m.opt.Zone)
	if !ok {
		frozen = m.frostOf(key, midnight)
		m.frosts.Add(key, frozen)
	}
	return frozen[max(0, min(int(at.Sub(midnight).Hours()), len(frozen)-1))]
}

// mildBefore reports that the air was too warm for frost for as long as matters.
func (m *memory) mildBefore(track, h int) bool {
	air := m.tracks[track].AirC
	for i := max(0, h-frostLooksH); i <= h; i++ {
		if i >= len(air) || !(air[i] > noFrostAbove) {
			return false
		}
	}
	return true
}

// frostOf returns for each hour of a date whether the base is frozen.
func (m *memory) frostOf(k frostKey, midnight time.Time) []bool {
	w := m.tracks[k.track]
	var covers []concrete.CoverSpan
	if k.cover != "" {
		from := k.date.AddDays(-1).At(baseCoverFrom, m.opt.Zone)
		covers = []concrete.CoverSpan{{Kind: k.cover, From: from.Sub(w.Start),
			Until: midnight.Add(2 * baseHours * time.Hour).Sub(w.Start)}}
	}
	solver := m.solvers.Get().(*concrete.Solver)
	defer m.solvers.Put(solver)
	bases := solver.Bases(m.site(k.date), w, covers, midnight, baseHours+1)
	out := make([]bool, len(bases))
	begun := w.Start.Sub(midnight).Hours()
	for i, b := range bases {
		out[i] = !(b.LowestC >= 0) && float64(i) > begun
	}
	return out
}
