package concrete_test

import (
	"fmt"

	"dryslot/internal/concrete"
	"dryslot/internal/unit"
)

// The drawn example of the ACI 305R chart (inputs from memory): concrete at
// 87 F, air at 80 F and 50 %, 12 mph; Concrete International prints 1.15
// kg/m2/h for it by Uno.
func ExampleEvaporation() {
	e, err := concrete.Evaporation(unit.FromFahrenheit(87), unit.FromFahrenheit(80), 50, 12*unit.MSPerMPH)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("Menzel %.2f, Uno %.2f, between %.1f and %.1f kg/m2/h\n", e.RateKgM2H, e.UnoKgM2H.V, e.LowKgM2H,
		e.HighKgM2H)
	// Output: Menzel 1.17, Uno 1.14, between 0.7 and 1.6 kg/m2/h
}

// A cold bag: what warm water does, and what it can't.
func ExampleWaterFor() {
	for _, bag := range []unit.Celsius{0, -5} {
		m, err := concrete.WaterFor(13, bag, 36.3, 2.8, 0)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("bag at %.0f C: water at %.0f C, allowed: %v\n", bag, m.WaterC, m.Allowed)
	}
	// Output:
	// bag at 0 C: water at 50 C, allowed: true
	// bag at -5 C: water at 64 C, allowed: false
}
