package policy

import "dryslot/internal/planner/harm"

// KeepPlacing is the rule for stopping on site: whether to begin another pad
// when rain is seen, or due by a nowcast, in the hours that it is soft first.
// nextMM is the rain in mm of this hour and the next, as far as it is known. A
// pad begun into light rain is lost with a chance that costs more than the
// morning's delay; rain of 2.5 mm in an hour loses it outright. Unknown (NaN)
// counts as rain.
func KeepPlacing(nextMM ...float64) bool {
	for _, mm := range nextMM {
		if harm.Touches(mm) {
			return false
		}
	}
	return true
}
