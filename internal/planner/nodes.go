package planner

import (
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/unit"
)

// slab is one slab's behaviour in minutes after placing; +Inf where it is not
// reached within the weather known.
type slab struct {
	initial, final    float64
	from, until       float64 // the finishing window
	strip, walk       float64
	frostSafe, cured  float64
	over1             float64 // minutes with evaporation above 1.0 kg/m2/h
	evap, evapAt      float64
	coldest           float64
	freezes, unknown  bool
	asked, impossible bool // impossible: it never sets in the weather known
}

// nodes is the slabs of one kind of pad on the hours' grid, asked for when
// first needed.
type nodes struct {
	slabs     Slabs
	thickness unit.Metres
	waterC    unit.Opt
	cover     string
	coverR    float64
	start     time.Time
	hours     int
	grid      []slab // by track, then hour
}

func newNodes(s Slabs, start time.Time, hours, tracks int, q SlabQuery) *nodes {
	return &nodes{slabs: s, thickness: q.Thickness, waterC: q.WaterC, cover: q.Cover, coverR: q.CoverR,
		start: start, hours: hours, grid: make([]slab, tracks*hours)}
}

// node returns the slab placed at a whole hour.
func (n *nodes) node(track, hour int) *slab {
	hour = max(0, min(hour, n.hours-1))
	s := &n.grid[track*n.hours+hour]
	if !s.asked {
		b := n.slabs.Behave(SlabQuery{Track: track, Thickness: n.thickness, WaterC: n.waterC, Cover: n.cover, CoverR: n.coverR,
			Placed: n.start.Add(time.Duration(hour) * time.Hour)})
		*s = fromBehaviour(b)
	}
	return s
}

func fromBehaviour(b *concrete.Behaviour) slab {
	if b == nil {
		inf := math.Inf(1)
		return slab{initial: inf, final: inf, from: inf, until: inf, strip: inf, walk: inf, frostSafe: inf, cured: inf,
			unknown: true, asked: true, impossible: true}
	}
	s := slab{initial: minutes(b.InitialSet), final: minutes(b.FinalSet), from: minutes(b.FinishFrom), until: minutes(b.FinishUntil),
		strip: minutes(b.StripFrom), walk: minutes(b.WalkFrom), frostSafe: minutes(b.FrostSafe), cured: minutes(b.CuredBy),
		over1: minutes(b.EvapOver1), evap: b.EvapPeak, evapAt: minutes(b.EvapPeakAt), coldest: float64(b.ColdestC),
		freezes: b.Freezes, unknown: b.Unknown, asked: true}
	s.impossible = math.IsInf(s.initial, 1) || math.IsInf(s.from, 1)
	return s
}

func minutes(d time.Duration) float64 {
	if d == concrete.Never {
		return math.Inf(1)
	}
	return d.Minutes()
}

// at returns the slab placed at a minute, interpolated between whole hours.
func (n *nodes) at(track int, minute float64) slab {
	h := hourOf(minute)
	a := n.node(track, h)
	w := minute/60 - float64(h)
	if w < 1e-9 || h+1 >= n.hours {
		return *a
	}
	b := n.node(track, h+1)
	mix := func(x, y float64) float64 { return x + (y-x)*w }
	far := func(x, y float64) float64 {
		if math.IsInf(x, 1) || math.IsInf(y, 1) {
			return math.Inf(1)
		}
		return x + (y-x)*w
	}
	return slab{initial: far(a.initial, b.initial), final: far(a.final, b.final), from: far(a.from, b.from), until: far(a.until, b.until),
		strip: far(a.strip, b.strip), walk: far(a.walk, b.walk), frostSafe: far(a.frostSafe, b.frostSafe), cured: far(a.cured, b.cured),
		over1: mix(a.over1, b.over1), evap: mix(a.evap, b.evap), evapAt: mix(a.evapAt, b.evapAt), coldest: mix(a.coldest, b.coldest),
		freezes: a.freezes || b.freezes, unknown: a.unknown || b.unknown, asked: true, impossible: a.impossible || b.impossible}
}

// window returns when finishing opens and closes for a slab placed at a
// minute: the part of at that laying out a day needs.
func (n *nodes) window(track int, minute float64) (from, until float64) {
	h := hourOf(minute)
	a := n.node(track, h)
	w := minute/60 - float64(h)
	if w < 1e-9 || h+1 >= n.hours {
		return minute + a.from, minute + a.until
	}
	b := n.node(track, h+1)
	if a.impossible || b.impossible || math.IsInf(a.until, 1) || math.IsInf(b.until, 1) {
		return math.Inf(1), math.Inf(1)
	}
	return minute + a.from + (b.from-a.from)*w, minute + a.until + (b.until-a.until)*w
}
