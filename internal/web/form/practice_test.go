package form

import (
	"math/rand/v2"
	"testing"

	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// practised fills in what is told of the mix beside the bag, and what the crew does.
func practised(r *rand.Rand, s *pour.Spec) {
	m, x := &s.Mix, &s.Practice
	one := func(of ...string) string { return of[r.IntN(len(of))] }
	m.Admixture = one("none", "retarder", "accelerator")
	if r.IntN(2) == 0 {
		m.WaterUsedLPerBag, m.LabelInitialSetMin, m.LabelWalkOnH = ptr(3.1), ptr(25.0), ptr(1.5)
	} else {
		m.SlumpMM = ptr(float64(50 + 25*r.IntN(5)))
	}
	*x = pour.Practice{BaseCover: one("none", "plastic", "blanket"), BaseWetted: r.IntN(2) == 0,
		Windbreak: r.IntN(2) == 0, Shade: r.IntN(2) == 0, EvaporationFilm: r.IntN(2) == 0, Fogging: r.IntN(2) == 0,
		Curing: one("cover", "compound", "wet", "none")}
	if r.IntN(2) == 0 {
		x.CuringDays = ptr(7.0)
	}
	for i := range r.IntN(3) {
		from := unit.Clock(60*(12+4*i) + r.IntN(60))
		s.Site.Shade = append(s.Site.Shade, pour.Shade{From: from, Until: from + 90})
	}
}

// People write times without sun as they say them.
func TestShadeIsReadAsItIsSaid(t *testing.T) {
	want := []pour.Shade{{From: 15 * 60, Until: 18 * 60}}
	for _, typed := range []string{"3 pm to 6 pm", "15:00-18:00", "15:00 \u2013 18:00", "from 3:00 p.m. until 6 p.m.",
		"de 15:00 a 18:00", "15:00 hasta 18:00;", " 3PM - 6PM "} {
		got := read(map[string]string{"shade_hours": typed})
		if len(got.Wrong) > 0 || text(t, got.Spec.Site.Shade) != text(t, want) {
			t.Errorf("%q: %+v, %+v", typed, got.Spec.Site.Shade, got.Wrong)
		}
	}
	two := read(map[string]string{"shade_hours": "6:00-8:00, 15:00-18:00"})
	if len(two.Wrong) > 0 || len(two.Spec.Site.Shade) != 2 {
		t.Errorf("two spans: %+v, %+v", two.Spec.Site.Shade, two.Wrong)
	}
	for _, typed := range []string{"afternoon", "15:00", "15:00 to later"} {
		if got := read(map[string]string{"shade_hours": typed}); len(got.Wrong) != 1 ||
			got.Wrong[0].Path != "shade_hours" {
			t.Errorf("%q: %+v, %+v", typed, got.Spec.Site.Shade, got.Wrong)
		}
	}
	late := read(map[string]string{"shade_hours": "18:00 to 15:00"})
	if err := late.Spec.Validate(); err == nil || late.Field("site.shade[0].until") != "shade_hours" {
		t.Errorf("an end before its start: %v", err)
	}
}

// What is not ticked is off where it was asked, and stays where it was not.
func TestWhatIsDoneAgainstDryingIsTicked(t *testing.T) {
	s := pour.DefaultSpec()
	s.Practice.Windbreak, s.Mix.SlumpMM = true, ptr(100.0)
	reader := say.HabitsOf("en-US")
	v := Of(s, reader)
	v["guard"] = []string{"fogging"}
	v.Set("slump", "5 in")
	v.Set("admixture", "retarder")
	if x := Read(v, s, reader).Spec; x.Practice.Windbreak || !x.Practice.Fogging || *x.Mix.SlumpMM != 127 ||
		x.Mix.Admixture != "retarder" {
		t.Errorf("%+v, %+v", x.Practice, x.Mix)
	}
	v.Del("guard")
	v.Del("base_cover")
	if x := Read(v, s, reader).Spec.Practice; !x.Windbreak || x.Fogging {
		t.Errorf("not asked: %+v", x)
	}
}
