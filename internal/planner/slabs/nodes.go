package slabs

import (
	"math"
	"sync/atomic"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// Slab is one slab's behaviour in minutes after placing; +Inf where it is not
// reached within the weather known. Strip, Walk, FrostSafe, Cured and Coldest
// are set by Nodes.Whole alone.
type Slab struct {
	Initial, Final   float64
	From, Until      float64 // the finishing window
	Strip, Walk      float64
	FrostSafe, Cured float64
	Uncover          float64 // the cover may come off; +Inf: not in sight, 0: no cover
	Over1            float64 // minutes with evaporation above 1.0 kg/m2/h
	Evap, EvapAt     float64 // the peak in kg/m2/h, and when
	Coldest          float64 // C, in the middle
	Corner           float64 // C, the coldest corner
	Chip             float64 // chance of chipped edges when stripped as soon as may be
	CrustRisk        float64 // that the surface crusts over soft concrete
	Crusts           float64
	Freezes, Unknown bool
	Impossible       bool // it never sets in the weather known
	whole            bool
}

// Kind is what the slabs of one set of Nodes have in common.
type Kind struct {
	Thickness unit.Metres
	WaterC    unit.Opt            // mixing water heated or cooled to this; unknown: as the project says
	BagC      unit.Opt            // bags kept at this; unknown: as the project says
	Cover     string              // cover laid after finishing: empty, plastic, burlap or blanket
	CoverR    float64             // its thermal resistance, m2 K/W
	Against   concrete.Protection // what is done against drying until the finish
	Admixture concrete.Admixture
	Wetted    bool // the base is damp when the concrete comes
}

// KindOf returns the kind that a project's pad is, before covers are planned.
func KindOf(spec pour.Spec, p pour.Pad) Kind {
	k := PracticeOf(spec)
	k.Thickness = unit.Metres(takeoff.MeanThicknessM(spec, p))
	return k
}

// CoverResistance returns the thermal resistance of an owner's covers of a kind,
// m2 K/W: as given, else that of a usual blanket; 0 for what is no blanket.
func CoverResistance(stock pour.Stock, kind string) float64 {
	for _, c := range stock.Covers {
		if c.Kind == kind && c.ResistanceM2KW != nil {
			return *c.ResistanceM2KW
		}
	}
	if kind == pour.Blanket {
		return concrete.BlanketM2KW
	}
	return 0
}

func opt(v *float64) unit.Opt {
	if v == nil {
		return unit.Opt{}
	}
	return unit.Some(*v)
}

// PracticeOf returns what the slabs of a project have in common.
func PracticeOf(spec pour.Spec) Kind {
	x := spec.Practice
	return Kind{WaterC: opt(spec.Mix.WaterTemperatureC), BagC: opt(spec.Mix.BagTemperatureC),
		Against:   concrete.Protection{Windbreak: x.Windbreak, Shade: x.Shade, Film: x.EvaporationFilm, Fog: x.Fogging},
		Admixture: concrete.Admixture(spec.Mix.Admixture), Wetted: x.BaseWetted}
}

// Grid is the hours and tracks that slabs are asked for.
type Grid struct {
	Start  time.Time
	Hours  int
	Tracks int
}

// Nodes is the slabs of one kind, placed at each whole hour under each track,
// worked out when first asked for. Several goroutines may use it.
type Nodes struct {
	Kind
	Grid
	slabs Slabs
	known []atomic.Pointer[Slab] // by track, then hour
}

// NodesOf returns the nodes of a kind; those of Slabs made by New are shared by
// all who ask for the same.
func NodesOf(s Slabs, g Grid, k Kind) *Nodes {
	if m, ok := s.(*memory); ok {
		return m.nodes(g, k)
	}
	return newNodes(s, g, k)
}

func newNodes(s Slabs, g Grid, k Kind) *Nodes {
	return &Nodes{Kind: k, Grid: g, slabs: s, known: make([]atomic.Pointer[Slab], g.Tracks*g.Hours)}
}

// node returns the slab placed at a whole hour.
func (n *Nodes) node(track, hour int, whole bool) *Slab {
	hour = max(0, min(hour, n.Hours-1))
	at := &n.known[track*n.Hours+hour]
	if s := at.Load(); s != nil && (s.whole || !whole) {
		return s
	}
	b := n.slabs.Behave(Query{Track: track, Kind: n.Kind, Placed: n.Start.Add(time.Duration(hour) * time.Hour),
		Brief: !whole})
	s := fromBehaviour(b)
	s.whole = whole
	at.Store(&s)
	return &s
}

func fromBehaviour(b *concrete.Behaviour) Slab {
	if b == nil {
		inf := math.Inf(1)
		return Slab{Initial: inf, Final: inf, From: inf, Until: inf, Strip: inf, Walk: inf, FrostSafe: inf, Cured: inf,
			Unknown: true, Impossible: true}
	}
	s := Slab{Initial: minutes(b.InitialSet), Final: minutes(b.FinalSet),
		From: minutes(b.FinishFrom), Until: minutes(b.FinishUntil),
		Strip: minutes(b.StripFrom), Walk: minutes(b.WalkFrom), FrostSafe: minutes(b.FrostSafe),
		Cured:   minutes(b.CuredBy),
		Uncover: minutes(b.UncoverFrom), CrustRisk: b.CrustRisk, Crusts: minutes(b.Crusts), Corner: float64(b.CornerC),
		Over1: minutes(b.EvapOver1), Evap: b.EvapPeak, EvapAt: minutes(b.EvapPeakAt), Coldest: float64(b.ColdestC),
		Freezes: b.Freezes, Unknown: b.Unknown}
	if b.StripFrom != concrete.Never {
		s.Chip = b.ChipChance(b.StripFrom)
	}
	s.Impossible = math.IsInf(s.Initial, 1) || math.IsInf(s.From, 1)
	return s
}

func minutes(d time.Duration) float64 {
	if d == concrete.Never {
		return math.Inf(1)
	}
	return d.Minutes()
}

// At returns the slab placed at a minute after the grid's start, interpolated
// between whole hours, without what only Whole sets.
func (n *Nodes) At(track int, minute float64) Slab { return n.at(track, minute, false) }

// Whole returns all of the slab placed at a minute.
func (n *Nodes) Whole(track int, minute float64) Slab { return n.at(track, minute, true) }

func (n *Nodes) at(track int, minute float64, whole bool) Slab {
	h := int(math.Floor(minute / 60))
	a := n.node(track, h, whole)
	w := minute/60 - float64(h)
	if w < 1e-9 || h+1 >= n.Hours {
		return *a
	}
	b := n.node(track, h+1, whole)
	mix := func(x, y float64) float64 { return x + (y-x)*w }
	far := func(x, y float64) float64 {
		if math.IsInf(x, 1) || math.IsInf(y, 1) {
			return math.Inf(1)
		}
		return x + (y-x)*w
	}
	return Slab{Initial: far(a.Initial, b.Initial), Final: far(a.Final, b.Final),
		From: far(a.From, b.From), Until: far(a.Until, b.Until),
		Strip: far(a.Strip, b.Strip), Walk: far(a.Walk, b.Walk),
		FrostSafe: far(a.FrostSafe, b.FrostSafe), Cured: far(a.Cured, b.Cured),
		Uncover: far(a.Uncover, b.Uncover), CrustRisk: mix(a.CrustRisk, b.CrustRisk), Crusts: far(a.Crusts, b.Crusts),
		Chip:  max(a.Chip, b.Chip),
		Over1: mix(a.Over1, b.Over1), Evap: mix(a.Evap, b.Evap), EvapAt: mix(a.EvapAt, b.EvapAt),
		Coldest: mix(a.Coldest, b.Coldest), Corner: mix(a.Corner, b.Corner),
		Freezes: a.Freezes || b.Freezes, Unknown: a.Unknown || b.Unknown, Impossible: a.Impossible || b.Impossible,
		whole: whole}
}

// Window returns when finishing opens and closes for a slab placed at a
// minute, in minutes after the grid's start: the part of At that laying out a
// day needs.
func (n *Nodes) Window(track int, minute float64) (from, until float64) {
	h := int(math.Floor(minute / 60))
	a := n.node(track, h, false)
	w := minute/60 - float64(h)
	if w < 1e-9 || h+1 >= n.Hours {
		return minute + a.From, minute + a.Until
	}
	b := n.node(track, h+1, false)
	if a.Impossible || b.Impossible || math.IsInf(a.Until, 1) || math.IsInf(b.Until, 1) {
		return math.Inf(1), math.Inf(1)
	}
	return minute + a.From + (b.From-a.From)*w, minute + a.Until + (b.Until-a.Until)*w
}
