package takeoff

import (
	"math"
	"math/rand/v2"
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

const (
	yields  = "bag yields printed on bags: 0.15 ft3 for 20 lb"
	tenFoot = "10 x 10 ft x 4 in in bags, computed"
)

// bags returns a project of bags of so many pounds, 0.15 ft3 for 20 lb.
func bags(pounds, waste float64) pour.Spec {
	s := pour.DefaultSpec()
	s.Mix.BagKg = pounds * unit.KilogramsPerPound
	s.Mix.YieldLPerBag = pounds / 20 * 0.15 * cubicFootL
	s.WasteFraction = waste
	return s
}

const cubicFootL = unit.MetresPerFoot * unit.MetresPerFoot * unit.MetresPerFoot * 1000

func pad(lengthFt, widthFt, thicknessIn float64) pour.Pad {
	return pour.Pad{Name: "A", LengthM: lengthFt * unit.MetresPerFoot, WidthM: widthFt * unit.MetresPerFoot,
		ThicknessM: thicknessIn * unit.MetresPerInch}
}

func TestBagsOfAFloor(t *testing.T) {
	p := pad(10, 10, 4)
	checkedtest.Near(t, tenFoot, "volume, ft3", PadVolumeL(bags(80, 0), p)/cubicFootL, 33.33, 0.005)
	for _, c := range []struct {
		pounds, waste float64
		want          int
	}{{80, 0, 56}, {80, 0.10, 62}, {60, 0, 75}} {
		checkedtest.Near(t, tenFoot, "bags", float64(PadBags(bags(c.pounds, c.waste), p)), float64(c.want), 0)
	}
}

func TestBagsInACubicYard(t *testing.T) {
	yard := pad(3, 3, 36)
	for pounds, want := range map[float64]float64{40: 90, 60: 60, 80: 45} {
		// Exactly whole: a float's crumb must not open another bag.
		checkedtest.Near(t, yields, "bags in a cubic yard", float64(PadBags(bags(pounds, 0), yard)), want, 0)
	}
	checkedtest.Near(t, yields, "bags of 80 lb in a cubic metre", 1000/bags(80, 0).Mix.YieldLPerBag, 58.9, 0.05)
}

func TestThickenedEdge(t *testing.T) {
	// 4 x 3 m, slab 0.1, edge 0.3: at the bottom a strip 0.3 wide, at the
	// underside 0.5 wide. By the prismatoid's mean, exact for a quadratic.
	const l, w, slab, edge = 4.0, 3.0, 0.1, 0.3
	standing := func(s float64) float64 { return (l - 2*s) * (w - 2*s) }
	want := 0.2 * (l*w - (standing(0.3)+4*standing(0.4)+standing(0.5))/6)
	if got := edgeM3(l, w, slab, edge); math.Abs(got-want) > 1e-12 {
		t.Errorf("edge %v, not %v", got, want)
	}
	// The strips of a small pad meet: it is as thick as its edge all over.
	if got, want := edgeM3(0.5, 0.5, 0.1, 0.3), 0.5*0.5*0.2; math.Abs(got-want) > 1e-12 {
		t.Errorf("small pad %v, not %v", got, want)
	}
	if got := edgeM3(4, 3, 0.1, 0.1); got != 0 {
		t.Errorf("an edge no thicker than the slab adds %v", got)
	}
}

func TestVolumeAndBagsAreMonotone(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 5000 {
		s := pour.DefaultSpec()
		s.WasteFraction = r.Float64() * 0.5
		edge := 0.04 + r.Float64()*0.96
		p := pour.Pad{LengthM: 0.1 + r.Float64()*10, WidthM: 0.1 + r.Float64()*10, ThicknessM: 0.04 + r.Float64()*0.4,
			EdgeThicknessM: &edge}
		v, n := PadVolumeL(s, p), PadBags(s, p)
		if v < p.AreaM2()*p.ThicknessM*1000-1e-9 || v > p.AreaM2()*max(p.ThicknessM, edge)*1000+1e-9 {
			t.Fatalf("%+v edge %v holds %v", p, edge, v)
		}
		grow := 1 + r.Float64()
		for name, change := range map[string]func(*pour.Spec, *pour.Pad){
			"length": func(_ *pour.Spec, p *pour.Pad) { p.LengthM *= grow }, "width": func(_ *pour.Spec,
				p *pour.Pad) {
				p.WidthM *= grow
			},
			"thickness": func(_ *pour.Spec, p *pour.Pad) { p.ThicknessM *= grow },
			"edge":      func(_ *pour.Spec, p *pour.Pad) { e := edge * grow; p.EdgeThicknessM = &e },
			"base":      func(s *pour.Spec, _ *pour.Pad) { s.Site.UnevenBaseM = grow / 100 },
			"waste":     func(s *pour.Spec, _ *pour.Pad) { s.WasteFraction *= grow },
		} {
			s2, p2 := s, p
			change(&s2, &p2)
			if PadVolumeL(s2, p2) < v-1e-9 || PadBags(s2, p2) < n {
				t.Fatalf("more %s takes less: %v bags, %v before", name, PadBags(s2, p2), n)
			}
		}
		if two := PourBags(s, []pour.Pad{p, p}); two > 2*n || two < 2*n-1 {
			t.Fatalf("two pads take %d, one %d", two, n)
		}
	}
}
