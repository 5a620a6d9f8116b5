package concrete

import "math"

// DampDays returns the days at 10 C or more for which a slab is kept damp: 7,
// 3 with rapid and 14 with slow cement (ACI 308 and 308R, from memory), and
// longer with more water, as its pores close later: in step with Powers'
// closing times up to twice ACI's days, which are those of a water-cement
// ratio of 0.50, and a twentieth more for each tenth beyond up to 1.0. There
// closing takes months, so that more of it is no longer worth asking; slow
// cement gets a tenth of the increase (judgement). Where the cement content is
// not known, nor is the ratio: the most is asked.
func DampDays(cement string, waterCement float64, known bool) float64 {
	const beyond = 0.50
	times := 2 + 0.5*(1.0-beyond)
	if known && waterCement > 0 {
		times = min(times, 2+0.5*max(0, waterCement-beyond), max(1, poresClose(waterCement)/7))
	}
	switch cement {
	case "rapid":
		return 3 * times
	case "slow":
		return 14 * (0.9 + 0.1*times)
	}
	return 7 * times
}

// CuringLeft returns what is left of the strength at 28 days when a slab is kept
// damp for so many days only, by the curves of the Portland Cement Association
// for ordinary cement at room temperature (EB001, chapter on curing, from
// memory): 0.55 without any, 0.80 after 3 days, 0.92 after 7, all after 14;
// linear between.
func CuringLeft(days float64) float64 {
	at := [...]float64{0, 3, 7, 14}
	left := [...]float64{0.55, 0.80, 0.92, 1}
	for i := 1; i < len(at); i++ {
		if days < at[i] {
			return left[i-1] + (left[i]-left[i-1])*max(0, days-at[i-1])/(at[i]-at[i-1])
		}
	}
	return 1
}

// poresClose returns after how many days of damp curing at ordinary
// temperature the capillaries of a paste close (Powers, Copeland and Mann,
// 1959, from memory): 3 at a water-cement ratio of 0.40, 7 at 0.45, 14 at
// 0.50, 180 at 0.60, 365 at 0.70; +Inf above, where they never do. Between
// them the logarithm is linear.
func poresClose(waterCement float64) float64 {
	ratios := [...]float64{0.40, 0.45, 0.50, 0.60, 0.70}
	days := [...]float64{3, 7, 14, 180, 365}
	if waterCement > ratios[len(ratios)-1] {
		return math.Inf(1)
	}
	if !(waterCement > ratios[0]) {
		return days[0]
	}
	i := 1
	for waterCement > ratios[i] {
		i++
	}
	x := (waterCement - ratios[i-1]) / (ratios[i] - ratios[i-1])
	return days[i-1] * math.Pow(days[i]/days[i-1], x)
}
