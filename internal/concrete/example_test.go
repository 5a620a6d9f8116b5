package concrete_test

import (
	"fmt"
	"math"
	"time"

	"dryslot/internal/concrete"
)

// The handbook's worked figures for general cement at a water-cement ratio of
// 0.5: 4.4 h and 6.6 h at 21 C (Schindler, RILEM 2004, from memory).
func ExampleSetTimes() {
	s, err := concrete.SetTimes(21.1, "general", 0.50, "broom")
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("initial set %.1f h, final set %.1f h, broom it from %.1f h to %.1f h\n", s.InitialH, s.FinalH,
		s.FinishFromH, s.FinishUntilH)
	_, err = concrete.SetTimes(60, "general", 0.50, "broom")
	fmt.Println(err)
	// Output:
	// initial set 4.4 h, final set 6.6 h, broom it from 2.7 h to 4.4 h
	// invalid: setting_unknown; concrete_c = 60: number_range min=-2 max=45
}

// A pad placed at seven on a mild sunny day.
func ExampleSolver_Behave() {
	w := concrete.Hourly{Start: time.Date(2027, 5, 4, 0, 0, 0, 0, time.UTC)}
	for h := range 96 {
		up := math.Cos(2 * math.Pi * float64(h-15) / 24)
		w.AirC = append(w.AirC, 16+6*up)
		w.HumidityPct = append(w.HumidityPct, 65-15*up)
		w.WindMS = append(w.WindMS, 3)
		w.CloudPct = append(w.CloudPct, 30)
		w.ShortwaveWM2 = append(w.ShortwaveWM2, max(0, 700*math.Cos(2*math.Pi*(float64(h)+0.5-12)/24)))
	}
	var s concrete.Solver
	b := s.Behave(&concrete.Casting{
		Thickness: 0.075, Finish: "broom", Placed: w.Start.Add(31 * time.Hour), Weather: w,
		Mix: concrete.Mix{Cement: "general", WaterCement: 0.55, CementKgM3: 310, Strength28dMPa: 28,
			TemperatureC: 14, SetFactor: 1},
		Site: concrete.Site{Latitude: 47.3, Longitude: -1, ElevationM: 80, WindFactor: 0.55, Subgrade: "sand"},
	})
	fmt.Println("finish from", b.FinishFrom.Round(30*time.Minute), "until", b.FinishUntil.Round(30*time.Minute))
	fmt.Println("strip from", b.StripFrom.Round(time.Hour), "walk on it from", b.WalkFrom.Round(time.Hour))
	fmt.Printf("coldest %.0f C, evaporation up to %.1f kg/m2/h\n", b.ColdestC, b.EvapPeak)
	// Output:
	// finish from 3h30m0s until 4h30m0s
	// strip from 13h0m0s walk on it from 23h0m0s
	// coldest 12 C, evaporation up to 0.4 kg/m2/h
}
