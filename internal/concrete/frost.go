package concrete

import (
	"math"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// AllOffWithinK is how close concrete must have come to the air before all
// protection is taken off: 20 F (ACI 306.1, from memory).
const AllOffWithinK unit.TempDiff = 11

// KeepCovered returns how long after placing a cover against cold stays on:
// until the concrete is safe from frost, and in cold weather through the
// protection period of ACI 306R (days by service, from memory). Never where
// the slab is not safe within the weather known.
func KeepCovered(b *Behaviour, cold bool, s Service, accelerated bool) time.Duration {
	until := b.FrostSafe
	if days, ok := ProtectionDays(s, accelerated); cold && ok && until != Never {
		until = max(until, time.Duration(days)*24*time.Hour)
	}
	return until
}

// MayUncover reports whether all protection may come off a slab whose surface
// is at slabC in air at airC that falls to lowC within the next 24 hours: no
// more than AllOffWithinK above the air, nor DropLimit above that night's low
// (ACI 306.1 and 306R, from memory; that the low stands for the slab's fall is
// judgement, on the safe side).
func MayUncover(thickness unit.Metres, slabC, airC, lowC unit.Celsius) bool {
	return unit.TempDiff(slabC-airC) <= AllOffWithinK && unit.TempDiff(slabC-lowC) <= DropLimit(thickness)
}

// UncoverAt returns the first whole hour after placing, from one time on, at
// which all protection may come off a covered slab by MayUncover; b is the
// covered slab's behaviour in c. Never where the weather known, or the surface
// followed, ends first.
func UncoverAt(b *Behaviour, c *Casting, from time.Duration) time.Duration {
	if from < 0 || from == Never {
		return Never
	}
	w := &c.Weather
	offset := c.Placed.Sub(w.Start)
	for h := int(math.Ceil(from.Hours() - 1e-9)); h < len(b.SurfaceC); h++ {
		i := int(math.Round((offset + time.Duration(h)*time.Hour).Hours()))
		if i < 0 || i >= len(w.AirC) || !finite(w.AirC[i]) {
			continue
		}
		low := w.AirC[i]
		for _, v := range w.AirC[i:min(len(w.AirC), i+25)] {
			if finite(v) {
				low = min(low, v)
			}
		}
		if MayUncover(c.Thickness, celsius(b.SurfaceC[h]), celsius(w.AirC[i]), celsius(low)) {
			return time.Duration(h) * time.Hour
		}
	}
	return Never
}

// doubleBandM is the strip along edges that takes a second blanket. ACI 306R
// (from memory) asks for double insulation at edges and corners; the width is
// judgement.
const doubleBandM = 0.3

// BlanketArea returns the blanket that a pad takes in cold weather, m2: one
// layer over all, a second over a strip of 0.3 m along its edges (ACI 306R,
// adapted).
func BlanketArea(length, width unit.Metres) float64 {
	l, w := float64(length), float64(width)
	return l*w + l*w - max(0, l-2*doubleBandM)*max(0, w-2*doubleBandM)
}

// Base is how the ground that a pad is placed on stands at a time.
type Base struct {
	SurfaceC float64
	LowestC  float64 // of the upper 50 mm
	Frozen   bool    // a part of the upper 50 mm is below 0 C
	Known    bool    // weather that it follows from was known
}

// Times and depth of the ground's model (judgement): followed for three days
// before, in steps of an hour, to a depth that a night's frost reaches.
const (
	baseDaysH  = 72.0
	baseDepthM = 0.05
	baseCells  = 4
)

// Bases follows bare or covered ground by conduction under sun, sky and air, as
// the slab is, and returns how it stands at an instant and at each whole hour
// after it. covers say what lay on it; their times count from the
// weather's start. Rime that is gone by then does not count. The heat of freezing
// water is left out, so that frost comes and goes sooner than in wet ground: the
// test at the place is a screwdriver pushed in.
func (s *Solver) Bases(site Site, w Hourly, covers []CoverSpan, at time.Time, hours int) []Base {
	out := make([]Base, hours)
	for i := range out {
		out[i] = Base{SurfaceC: math.NaN(), LowestC: math.NaN()}
	}
	s.c = Casting{Site: site, Weather: w, Covers: covers}
	guess := !(site.WindFactor >= 0 && site.WindFactor <= 2)
	if guess {
		s.c.Site.WindFactor = 1
	}
	steam := saturations()
	s.env.open(&s.c.Weather, &s.c.Site, steam)
	begin := at.Sub(w.Start).Hours()
	if s.env.hours == 0 || begin > float64(s.env.hours) {
		return out
	}
	s.first = surroundings{emit: emissivity * stefanBoltzmann, steam: steam}
	s.second = s.first
	g := groundOf(site.Subgrade)
	s.col.build(layer{baseDepthM, g.conduct, g.heat, baseCells, 1}, layer{groundDepth, g.conduct, g.heat, groundCells,
		groundGrows})
	s.placed, s.hour = 0, max(0, begin-baseDaysH)
	now := int(s.hour)
	top := s.env.mean(max(0, now-5), now+1)
	for i := range baseCells + 1 {
		s.col.temp[i] = top
	}
	s.env.bed(&s.col, s.hour)
	clear(s.source[:])
	s.face = top
	for i := range out {
		end := begin + float64(i)
		if !(end > 0) || end > float64(s.env.hours) {
			continue
		}
		s.lieBare(end)
		b := Base{SurfaceC: s.col.temp[0], LowestC: s.col.coldest(), Known: !guess && !s.env.unknown}
		b.Frozen = b.LowestC < 0
		out[i] = b
	}
	return out
}

// lieBare takes the ground on to an hour.
func (s *Solver) lieBare(end float64) {
	for s.hour < end-1e-9 {
		dt := min(s.next(stepAfter), end-s.hour)
		mid := s.hour + dt/2
		hour := math.Floor(mid)
		s.env.enter(int(hour))
		s.cover = s.coverAt(mid)
		s.lieUnder(mid, Guard{Wind: 1, Sun: 1})
		x := s.hour - hour
		s.env.meet(&s.first, x+gamma*dt, 0)
		s.env.meet(&s.second, x+dt, 0)
		s.col.factor(dt * 3600)
		s.col.advance(&s.source, &s.first, &s.second, &s.face)
		s.hour += dt
	}
}

// FrozenBaseRule is the caution for a base that is modelled as frozen.
func FrozenBaseRule() Rule {
	return Rule{ID: "frozen-ground", Severity: Act, Hold: true, SourceData: message.New(sourceFrozenGround),
		Data: says(message.New(RuleFrozenBase))}
}
