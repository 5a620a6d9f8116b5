package concrete

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/checkedtest"
)

// Steady cold air under cloud: the ground's middle tends to the air; frozen
// below zero, not above; a blanket over warm ground keeps the frost out.
func TestTheBaseFreezesAndThaws(t *testing.T) {
	site := Site{Latitude: 47, WindFactor: 0.55, Subgrade: "sand"}
	var s Solver
	at := func(w Hourly, h int, covers ...CoverSpan) Base {
		return s.Bases(site, w, covers, w.Start.Add(time.Duration(h)*time.Hour), 1)[0]
	}
	if b := at(steady(100, -8, 80, 3, 100, 0), 96); !b.Frozen || !b.Known {
		t.Errorf("four days at -8 C: %+v", b)
	}
	if b := at(steady(100, 9, 80, 3, 100, 0), 96); b.Frozen || !b.Known {
		t.Errorf("four days at 9 C: %+v", b)
	}
	// Mild days with one frosty night: rime, gone by the middle of the day.
	night := daily(120, 6, 7, 60, 1, 0, 500)
	early, late := at(night, 4*24+6), at(night, 4*24+12)
	if !(early.SurfaceC < 1) || late.Frozen || !(late.SurfaceC > 5) {
		t.Errorf("at 06:00 %+v, at 12:00 %+v", early, late)
	}
	// A cold snap after mild days: bare ground freezes, covered does not.
	snap := steady(120, 8, 80, 2, 60, 0)
	for i := 90; i < 120; i++ {
		snap.AirC[i] = -6
	}
	bare := at(snap, 100)
	covered := at(snap, 100, CoverSpan{Kind: "blanket", From: 84 * time.Hour, Until: 200 * time.Hour,
		ResistanceM2KW: 0.7})
	if !bare.Frozen || covered.Frozen {
		t.Errorf("bare %+v, covered %+v", bare, covered)
	}
	for name, b := range map[string]Base{"no weather": at(Hourly{Start: snap.Start}, 3), "past the end": at(snap,
		500)} {
		if b.Known || b.Frozen || !math.IsNaN(b.SurfaceC) {
			t.Errorf("%s: %+v", name, b)
		}
	}
}

// A cover on the base through a night without sun never lowers its surface.
func TestACoveredBaseIsNeverColder(t *testing.T) {
	rnd := rand.New(rand.NewPCG(41, 42))
	var s Solver
	for range 200 {
		w := daily(120, 10*rnd.Float64()-3, 6, 70, 4*rnd.Float64(), 60*rnd.Float64(), 300)
		site := Site{WindFactor: 0.5, Subgrade: []string{"sand", "clay", "soil"}[rnd.IntN(3)]}
		at := w.Start.Add(102 * time.Hour) // 06:00
		bare := s.Bases(site, w, nil, at, 1)[0]
		one := s.Bases(site, w, []CoverSpan{{Kind: "blanket", From: 90 * time.Hour, Until: 200 * time.Hour}}, at, 1)[0]
		if one.LowestC < bare.LowestC-1e-6 {
			t.Fatalf("bare %+v, covered %+v", bare, one)
		}
	}
}

// A wall that starts at one temperature and loses heat to air at 0 C through
// one face: the half space's surface by the published solution.
func TestEdgesKeepWhatTheHalfSpaceKeeps(t *testing.T) {
	const incropera = "Incropera, half space with convection, and product of solutions; from memory, computed"
	checkedtest.Near(t, incropera, "share at placing", EdgeShare(0), 1, 1e-12)
	// h 2.5, k 1.5, a 6.383e-7: u = h sqrt(a t)/k = 0.2527 at 10 h; erfcx(0.2527) = 0.7665.
	checkedtest.Near(t, incropera, "share after 10 h", EdgeShare(10), 0.7665, 0.002)
	last := 1.0
	for h := 0.0; h < 20; h += 0.1 {
		if v := EdgeShare(h); v > last || v < 0.7 {
			t.Fatalf("%v at %v h, before %v", v, h, last)
		} else {
			last = v
		}
	}
}

func TestCoversStayAndComeOff(t *testing.T) {
	const aci = "ACI 306.1 and 306R, from memory"
	b := &Behaviour{FrostSafe: 40 * time.Hour}
	for _, c := range []struct {
		cold, fast bool
		s          Service
		want       time.Duration
	}{{false, false, Exposed, 40 * time.Hour}, {true, false, Exposed, 72 * time.Hour}, {true, true, Exposed,
		48 * time.Hour},
		{true, false, PartlyLoaded, 144 * time.Hour}, {true, false, FullyLoaded, 40 * time.Hour}} {
		checkedtest.That(t, aci, KeepCovered(b, c.cold, c.s, c.fast) == c.want, "%+v: %v", c, KeepCovered(b, c.cold,
			c.s, c.fast))
	}
	if KeepCovered(&Behaviour{FrostSafe: Never}, true, Exposed, false) != Never {
		t.Error("a slab that is never safe is uncovered")
	}
	checkedtest.That(t, aci, MayUncover(0.1, 15, 4, -5), "11 K above the air, 20 above the low")
	checkedtest.That(t, aci, !MayUncover(0.1, 16, 4, -5), "12 K above the air")
	checkedtest.That(t, aci, !MayUncover(0.1, 15, 10, -14), "29 K above the low")

	w := daily(200, 0, 5, 70, 2, 50, 200)
	c := casting(w, 18)
	c.Covers = []CoverSpan{{Kind: "blanket", From: 6 * time.Hour, Until: 300 * time.Hour, ResistanceM2KW: 0.35}}
	v := Behave(c)
	at := UncoverAt(&v, &c, KeepCovered(&v, true, Exposed, false))
	if at == Never || at < 72*time.Hour || at < v.FrostSafe {
		t.Fatalf("uncovered at %v, frost-safe %v", at, v.FrostSafe)
	}
	if i := int(at/time.Hour) + 8; v.SurfaceC[at/time.Hour]-w.AirC[i] > 11 {
		t.Errorf("uncovered at %v with the slab at %v and the air at %v", at, v.SurfaceC[at/time.Hour], w.AirC[i])
	}
	checkedtest.Near(t, "ACI 306R adapted: double at the edges, computed", "m2", BlanketArea(1, 1), 1+1-0.16, 1e-9)
}

func TestChippedEdges(t *testing.T) {
	last := 1.0
	for mpa := 0.0; mpa < 10; mpa += 0.1 {
		if v := ChipChance(mpa); v > last || !(v > 0) {
			t.Fatalf("%v at %v MPa", v, mpa)
		} else {
			last = v
		}
	}
	c := casting(steady(300, 18, 60, 2, 50, 0), 18)
	b := Behave(c)
	if !(b.Reaches[0] < b.Reaches[1] && b.Reaches[1] < b.Reaches[2] && b.ChipChance(0) == 0.5 &&
		b.ChipChance(b.Reaches[2]) == 0.03 && b.ChipChance(b.StripFrom) <= 0.2) {
		t.Errorf("%v", b.Reaches)
	}
}
