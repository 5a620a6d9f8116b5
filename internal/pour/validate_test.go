package pour

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"dryslot/internal/fault"
)

// shed returns a sound project with three pads in order.
func shed() Spec {
	s := DefaultSpec()
	s.Name, s.Latitude, s.Longitude, s.TimeZone, s.Units = "Boat shed floor", 47.25, -122.44, "America/Los_Angeles",
		"us"
	set := "F1"
	s.FormSets = []FormSet{{Name: "F1", Count: 2, Cells: 1}}
	for _, n := range []string{"A1", "A2", "A3"} {
		s.Pads = append(s.Pads, Pad{Name: n, LengthM: 1.2, WidthM: 0.9, ThicknessM: 0.075, FormSet: &set,
			After: []After{}})
	}
	s.Pads[1].After = []After{{Pad: "A1", Until: Stripped}}
	return s
}

func fieldsOf(t *testing.T, err error) []fault.Field {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) {
		t.Fatalf("want a fault, got %v", err)
	}
	return f.Fields
}

func paths(fields []fault.Field) string {
	var p []string
	for _, f := range fields {
		p = append(p, f.Path)
	}
	return strings.Join(p, " ")
}

func TestASoundProjectIsValid(t *testing.T) {
	if err := shed().Validate(); err != nil {
		t.Fatal(err)
	}
}

func TestEachRuleNamesItsField(t *testing.T) {
	v := func(f float64) *float64 { return &f }
	none := "F9"
	cases := []struct {
		field string
		spoil func(*Spec)
	}{
		{"name", func(s *Spec) { s.Name = "" }},
		{"name", func(s *Spec) { s.Name = "   " }},
		{"name", func(s *Spec) { s.Name = strings.Repeat("é", 81) }},
		{"name", func(s *Spec) { s.Name = "a\x00b" }},
		{"name", func(s *Spec) { s.Name = "a\nb" }},
		{"name", func(s *Spec) { s.Name = "a\u202eb" }},
		{"name", func(s *Spec) { s.Name = "a\xffb" }},
		{"latitude", func(s *Spec) { s.Latitude = 90.001 }},
		{"latitude", func(s *Spec) { s.Latitude = math.NaN() }},
		{"longitude", func(s *Spec) { s.Longitude = math.Inf(-1) }},
		{"elevation_m", func(s *Spec) { s.ElevationM = v(9000) }},
		{"time_zone", func(s *Spec) { s.TimeZone = "Mars/Olympus" }},
		{"time_zone", func(s *Spec) { s.TimeZone = "Local" }},
		{"time_zone", func(s *Spec) { s.TimeZone = "../etc/passwd" }},
		{"units", func(s *Spec) { s.Units = "imperial" }},
		{"language", func(s *Spec) { other := "es-ES"; s.Language = &other }},
		{"waste_fraction", func(s *Spec) { s.WasteFraction = 0.51 }},
		{"mix.bag_kg", func(s *Spec) { s.Mix.BagKg = 80 }},
		{"mix.yield_l_per_bag", func(s *Spec) { s.Mix.YieldLPerBag = 0.6 }},
		{"mix.yield_l_per_bag", func(s *Spec) { s.Mix.YieldLPerBag = 38 }},
		{"mix.water_l_per_bag", func(s *Spec) { s.Mix.WaterLPerBag = 0 }},
		{"mix.water_l_per_bag_max", func(s *Spec) { s.Mix.WaterLPerBagMax = 2.7 }},
		{"mix.cement_fraction", func(s *Spec) { s.Mix.CementFraction = v(15) }},
		{"mix.cement", func(s *Spec) { s.Mix.Cement = "" }},
		{"mix.strength_28d_mpa", func(s *Spec) { s.Mix.Strength28dMPa = 4000 }},
		{"mix.bag_temperature_c", func(s *Spec) { s.Mix.BagTemperatureC = v(70) }},
		{"mix.water_temperature_c", func(s *Spec) { s.Mix.WaterTemperatureC = v(-1) }},
		// flash set: ACI 306R chapter 3, from memory
		{"mix.water_temperature_c", func(s *Spec) { s.Mix.WaterTemperatureC = v(60.5) }},
		{"mix.price_per_bag", func(s *Spec) { s.Mix.PricePerBag = v(-1) }},
		{"crew.people", func(s *Spec) { s.Crew.People = 0 }},
		{"crew.bags_per_hour", func(s *Spec) { s.Crew.BagsPerHour = 0 }},
		{"crew.strike_off_min_per_m2", func(s *Spec) { s.Crew.StrikeOffMinPerM2 = -1 }},
		{"crew.finish_min_per_m2", func(s *Spec) { s.Crew.FinishMinPerM2 = 1e308 }},
		{"crew.finish", func(s *Spec) { s.Crew.Finish = "mirror" }},
		{"crew.set_up_min", func(s *Spec) { s.Crew.SetUpMin = 1000 }},
		{"crew.clean_up_min", func(s *Spec) { s.Crew.CleanUpMin = -5 }},
		{"crew.latest_finish", func(s *Spec) { s.Crew.LatestFinish = s.Crew.EarliestStart }},
		{"crew.latest_finish", func(s *Spec) { s.Crew.LatestFinish = s.Crew.EarliestStart + 60 }},
		{"crew.earliest_start", func(s *Spec) { s.Crew.EarliestStart = 1440 }},
		{"crew.days", func(s *Spec) { s.Crew.Days = nil }},
		{"crew.days[0]", func(s *Spec) { s.Crew.Days = []string{"monday"} }},
		{"crew.days[1]", func(s *Spec) { s.Crew.Days = []string{"mon", "mon"} }},
		{"crew.vehicle_payload_kg", func(s *Spec) { s.Crew.VehiclePayloadKg = 0 }},
		{"crew.moves_per_bag", func(s *Spec) { s.Crew.MovesPerBag = -1 }},
		{"stock.bags_on_hand", func(s *Spec) { n := -1; s.Stock.BagsOnHand = &n }},
		{"stock.deliveries[0].date", func(s *Spec) { s.Stock.Deliveries = []Delivery{{Bags: 3}} }},
		{"stock.covers[0].kind", func(s *Spec) { s.Stock.Covers = []Cover{{Kind: "tarpaulin", Pads: 1}} }},
		{"stock.covers[0].pads", func(s *Spec) { s.Stock.Covers = []Cover{{Kind: "plastic"}} }},
		{"limits.rain_risk", func(s *Spec) { s.Limits.RainRisk = 10 }},
		{"limits.lost_pad_days", func(s *Spec) { s.Limits.LostPadDays = -1 }},
		{"limits.harm", func(s *Spec) { s.Limits.Harm = v(0) }},
		{"alerts.lead_min", func(s *Spec) { s.Alerts.LeadMin = -1 }},
		{"alerts.quiet_until", func(s *Spec) { s.Alerts.QuietUntil = -1 }},
		{"site.subgrade", func(s *Spec) { s.Site.Subgrade = "ice" }},
		{"site.wind_factor", func(s *Spec) { s.Site.WindFactor = 1.1 }},
		{"site.uneven_base_m", func(s *Spec) { s.Site.UnevenBaseM = 0.11 }},
		{"site.base_sand_m", func(s *Spec) { s.Site.BaseSandM = v(-0.1) }},
		{"form_sets[0].count", func(s *Spec) { s.FormSets[0].Count = 0 }},
		{"form_sets[1].name", func(s *Spec) { s.FormSets = append(s.FormSets, s.FormSets[0]) }},
		{"pads", func(s *Spec) { s.Pads = nil }},
		{"pads", func(s *Spec) { s.Pads = make([]Pad, MaxPads+1) }},
		{"pads[2].name", func(s *Spec) { s.Pads[2].Name = "A1" }},
		{"pads[0].length_m", func(s *Spec) { s.Pads[0].LengthM = 47 }},
		{"pads[0].width_m", func(s *Spec) { s.Pads[0].WidthM = 0 }},
		{"pads[0].thickness_m", func(s *Spec) { s.Pads[0].ThicknessM = 4 }},
		{"pads[0].thickness_m", func(s *Spec) { s.Pads[0].ThicknessM = 0.0399 }},
		{"pads[0].edge_thickness_m", func(s *Spec) { s.Pads[0].EdgeThicknessM = v(0.05) }},
		{"pads[0].x_m", func(s *Spec) { s.Pads[0].XM = math.Inf(1) }},
		{"pads[0].form_set", func(s *Spec) { s.Pads[0].FormSet = &none }},
		{"pads[0].after[0].pad", func(s *Spec) { s.Pads[0].After = []After{{Pad: "Z", Until: Cured}} }},
		{"pads[0].after[0].pad", func(s *Spec) { s.Pads[0].After = []After{{Pad: "A1", Until: Cured}} }},
		{"pads[2].after[1].pad", func(s *Spec) {
			s.Pads[2].After = []After{{Pad: "A1", Until: Cured}, {Pad: "A1",
				Until: Placed}}
		}},
		{"pads[2].after[0].until", func(s *Spec) { s.Pads[2].After = []After{{Pad: "A1", Until: Lost}} }},
		{"pads[0].after", func(s *Spec) { s.Pads[0].After = []After{{Pad: "A2", Until: Placed}} }},
	}
	for i, c := range cases {
		t.Run(fmt.Sprintf("%d %s", i, c.field), func(t *testing.T) {
			s := shed()
			c.spoil(&s)
			err := s.Validate()
			if !errors.Is(err, fault.Invalid) {
				t.Fatalf("want fault.Invalid, got %v", err)
			}
			got := fieldsOf(t, err)
			if len(got) != 1 || got[0].Path != c.field || got[0].Rule.IsZero() {
				t.Fatalf("want one fault at %s, got %+v", c.field, got)
			}
		})
	}
}

func TestAllFaultsAreReportedTogether(t *testing.T) {
	s := shed()
	s.Name, s.Latitude, s.Crew.People, s.Pads[1].ThicknessM, s.Site.Subgrade = "", 91, 0, 2, "moss"
	want := "name latitude crew.people site.subgrade pads[1].thickness_m"
	if got := paths(fieldsOf(t, s.Validate())); got != want {
		t.Errorf("faults at %q, want %q", got, want)
	}
}

func TestARingIsNamed(t *testing.T) {
	s := shed()
	s.Pads[0].After = []After{{Pad: "A3", Until: Placed}}
	s.Pads[2].After = []After{{Pad: "A2", Until: Cured}}
	f := fieldsOf(t, s.Validate())
	if len(f) != 1 || f[0].Value != "A1 after A3 after A2 after A1" {
		t.Errorf("got %+v", f)
	}
}

// A long chain is sound; closing it anywhere makes a ring, and the ring named
// really is one.
func TestChains(t *testing.T) {
	s := shed()
	s.Pads = nil
	for i := range MaxPads {
		p := Pad{Name: fmt.Sprint("P", i), LengthM: 1, WidthM: 1, ThicknessM: 0.1}
		if i > 0 {
			p.After = []After{{Pad: fmt.Sprint("P", i-1), Until: Placed}}
		}
		s.Pads = append(s.Pads, p)
	}
	if err := s.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, end := range []int{1, 17, MaxPads - 1} {
		s.Pads[0].After = []After{{Pad: fmt.Sprint("P", end), Until: Placed}}
		ring := cycle(s.Pads)
		if len(ring) != end+2 || ring[0] != ring[end+1] {
			t.Errorf("closing at %d: ring of %d", end, len(ring))
		}
	}
}
