package takeoff

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"dryslot/internal/checkedtest"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

func shed() pour.Spec {
	s := pour.DefaultSpec()
	s.Name, s.Latitude, s.Longitude = "Boat shed floor", 44.1, -69.1
	for i := range 4 {
		s.Pads = append(s.Pads, pour.Pad{Name: fmt.Sprintf("P%d", i+1), LengthM: 1.2, WidthM: 0.9, ThicknessM: 0.075,
			XM: 1.2 * float64(i)})
	}
	return s
}

func TestTakeoffOfAProject(t *testing.T) {
	s := shed()
	on, sand := 10, 0.05
	s.Stock.BagsOnHand = &on
	d1, d2 := unit.Date{Year: 2026, Month: 5, Day: 4}, unit.Date{Year: 2026, Month: 5, Day: 6}
	s.Stock.Deliveries = []pour.Delivery{{Date: d2, Bags: 5}}
	s.Site.BaseSandM = &sand
	got := Of(Job{Spec: s, Pours: []pour.Pour{{Date: d1, Pads: []string{"P1", "P2"}}, {Date: d2, Pads: []string{"P3"}}},
		Records: []pour.PadRecord{{Pad: "P1", State: pour.Lost, Losses: 1}, {Pad: "gone", State: pour.Placed,
			Losses: 3}}})

	// A pad holds 81 l; 89.1 with waste are 5.24 bags of 17 l.
	p := got.Project
	if p.Bags != 6+11+6+6 || p.BagsToPlace != 23 || p.BagsShort != 29-15 || p.ShortFrom == nil || *p.ShortFrom != d1 {
		t.Errorf("project %+v", p)
	}
	if len(got.Pours) != 2 || got.Pours[0].Bags != 11 || math.Abs(got.Pours[0].WaterL-30.8) > 1e-9 ||
		got.Pours[1].Bags != 6 || !slices.Equal(got.Pours[0].Pads, []string{"P1", "P2"}) {
		t.Errorf("pours %+v", got.Pours)
	}
	if len(got.Pads) != 4 || got.Pads[0].Bags != 6 || math.Abs(got.Pads[0].VolumeL-81) > 1e-9 ||
		*got.Pads[0].Cost != 39 {
		t.Errorf("pad %+v", got.Pads[0])
	}
	// 16 whole bags of 36.3 kg to a trip of 600 kg.
	if *p.Trips != 2 || math.Abs(p.MovedKg-29*36.3*3) > 1e-6 || math.Abs(p.MovedTPersonHour-0.7623) > 1e-9 ||
		math.Abs(p.VolumeL-5*81) > 1e-9 {
		t.Errorf("carrying %+v", p)
	}
	checkedtest.Near(t, "2.8 and 3.8 l in a bag of 36.3 kg with 15 % cement, computed", "w/c", *p.WaterCementRatio,
		0.514, 0.0005)
	checkedtest.Near(t, "2.8 and 3.8 l in a bag of 36.3 kg with 15 % cement, computed", "w/c at most",
		*p.WaterCementRatioMax, 0.70, 0.005)
	checkedtest.Near(t, checkedtest.CommonPractice, "sand, l", *got.Pads[0].SandL, 1.2*0.9*50*1.2*1.1, 1e-9)
	checkedtest.Near(t, checkedtest.CommonPractice, "sand, kg", *got.Pads[0].SandKg, *got.Pads[0].SandL*1.6, 1e-9)

	var codes []string
	for _, r := range append(slices.Clone(got.Project.Cautions), got.Pads[0].Cautions...) {
		codes = append(codes, r.ID)
	}
	if !slices.Equal(codes, []string{"heavy-bags", "wet-mix", "pad-weight", "lumpy-bags", "old-mix", "thin",
		"bond-break"}) {
		t.Errorf("cautions %v", codes)
	}
}

func TestWaterCementOfABag(t *testing.T) {
	// 80 lb bag of 15 % cement: 6 pt, 4 qt and 5 qt of water.
	const source = "label waters of an 80 lb bag at 15 % cement, computed"
	m := bags(80, 0).Mix
	for quarts, want := range map[float64]float64{3: 0.52, 4: 0.70, 5: 0.87} {
		checkedtest.Near(t, source, "w/c", WaterCement(m, quarts*unit.LitresPerQuart).V, want, 0.006)
	}
	m.CementFraction = nil
	if WaterCement(m, 3).Known {
		t.Error("an unknown cement content gives a ratio")
	}
}

func TestBagsCarriedFourTimes(t *testing.T) {
	s := bags(80, 0)
	s.Crew.MovesPerBag = 4
	s.Pads = []pour.Pad{pad(3, 3, 36)} // a cubic yard, 45 bags
	p := Of(Job{Spec: s}).Project
	checkedtest.Near(t, checkedtest.CommonPractice, "bags, lb", unit.Kilograms(p.WeightKg).Pounds(), 3600, 1e-6)
	checkedtest.Near(t, checkedtest.CommonPractice, "moved, lb", unit.Kilograms(p.MovedKg).Pounds(), 14400, 1e-6)
	// Half a quart a bag wetter than the label.
	s.Mix.WaterLPerBagMax = s.Mix.WaterLPerBag + unit.LitresPerQuart/2
	loss := Of(Job{Spec: s}).Project.StrengthLossMPa
	checkedtest.Between(t, checkedtest.CommonPractice, "half a quart wetter costs, MPa", loss.Low, 5.5, 6.0)
	checkedtest.Between(t, checkedtest.CommonPractice, "half a quart wetter costs at most, MPa", loss.High, 7.4, 8.0)
}

func TestMissingIsNotZero(t *testing.T) {
	s := shed()
	s.Mix.PricePerBag, s.Mix.CementFraction = nil, nil
	s.Mix.WaterLPerBagMax = s.Mix.WaterLPerBag
	s.Crew.VehiclePayloadKg = 30
	p := Of(Job{Spec: s}).Project
	if p.Cost != nil || p.WaterCementRatio != nil || p.WaterCementRatioMax != nil || p.StrengthLossMPa != nil ||
		p.Trips != nil || p.SandL != nil || p.ShortFrom != nil || p.BagsShort != 0 {
		t.Errorf("got %+v", p)
	}
}

// TestWordsOfTheContract holds the names of the public JSON form.
func TestWordsOfTheContract(t *testing.T) {
	b, err := json.Marshal(Of(Job{Spec: shed(), Pours: []pour.Pour{{Date: unit.Date{Year: 2026, Month: 5, Day: 4},
		Pads: []string{"P1"}}}}))
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Project map[string]json.RawMessage
		Pours   []map[string]json.RawMessage
		Pads    []map[string]json.RawMessage
	}
	if err := json.Unmarshal(b, &doc); err != nil {
		t.Fatal(err)
	}
	common := []string{"volume_l", "bags", "water_l", "water_l_max", "weight_kg", "cost"}
	for name, c := range map[string]struct {
		got  map[string]json.RawMessage
		want []string
	}{
		"project": {doc.Project, append([]string{"trips", "moved_kg", "water_cement_ratio", "water_cement_ratio_max",
			"bags_short"}, common...)},
		"pours": {doc.Pours[0], append([]string{"date", "trips", "moved_kg"}, common...)},
		"pads":  {doc.Pads[0], append([]string{"pad"}, common...)},
	} {
		for _, k := range c.want {
			if _, ok := c.got[k]; !ok {
				t.Errorf("%s has no %s", name, k)
			}
		}
	}
}

func TestTakeoffIsMonotone(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	for range 500 {
		s := shed()
		s.Mix.WaterLPerBag = 1 + r.Float64()*2
		s.Mix.WaterLPerBagMax = s.Mix.WaterLPerBag + r.Float64()
		var pours []pour.Pour
		for d := range 3 {
			p := pour.Pour{Date: unit.Date{Year: 2026, Month: 5, Day: 4 + d}}
			for _, q := range s.Pads {
				if r.IntN(3) == 0 {
					p.Pads = append(p.Pads, q.Name)
				}
			}
			pours = append(pours, p)
		}
		a := Of(Job{Spec: s, Pours: pours})
		more := s
		more.Pads = append(slices.Clone(s.Pads), pour.Pad{Name: "Q", LengthM: 0.1 + r.Float64(),
			WidthM: 0.1 + r.Float64(), ThicknessM: 0.1})
		b := Of(Job{Spec: more, Pours: pours})
		if b.Project.Bags < a.Project.Bags || *b.Project.Cost < *a.Project.Cost ||
			*b.Project.Trips < *a.Project.Trips || b.Project.MovedKg < a.Project.MovedKg {
			t.Fatalf("one pad more takes less: %+v, %+v", a.Project, b.Project)
		}
		lost := Of(Job{Spec: s, Pours: pours, Records: []pour.PadRecord{{Pad: "P2", State: pour.Lost, Losses: 1}}})
		if lost.Project.Bags != a.Project.Bags+PadBags(s, s.Pads[1]) {
			t.Fatalf("a lost pad takes %d bags more", lost.Project.Bags-a.Project.Bags)
		}
		wetter := s
		wetter.Mix.WaterLPerBag += r.Float64()
		if *Of(Job{Spec: wetter}).Project.WaterCementRatio < *a.Project.WaterCementRatio {
			t.Fatal("more water lowers the water-cement ratio")
		}
		// Bags are at least the volume's worth, and no pad's bag is opened twice.
		total, alone := 0, 0
		for _, p := range a.Pads {
			alone += p.Bags
		}
		for _, d := range a.Pours {
			total += d.Bags
		}
		if a.Project.Bags > alone || total > a.Project.Bags ||
			float64(a.Project.Bags)*s.Mix.YieldLPerBag < a.Project.VolumeL*(1+s.WasteFraction)-1e-6 {
			t.Fatalf("%d bags, pads alone %d, planned %d", a.Project.Bags, alone, total)
		}
	}
}

func TestPadsThatTouch(t *testing.T) {
	at := func(x, y float64) pour.Pad { return pour.Pad{LengthM: 1, WidthM: 1, XM: x, YM: y} }
	for _, c := range []struct {
		x, y float64
		want bool
	}{{1, 0, true}, {-1, 0, true}, {0, 1, true}, {1, 0.5, true}, {1.004, 0, true}, {1.04, 0, false}, {1, 1, false},
		{0, 0, false}, {0.5, 0, false}, {3, 3, false}} {
		if got := touch(at(0, 0), at(c.x, c.y)); got != c.want {
			t.Errorf("%v: %v", c, got)
		}
	}
}
