package policy

import "math"

// split deals the members out to the choosing half and the stating half. Where
// the same rain comes more than once, as in scenarios drawn from past days with
// replacement, all of it goes to one half: chances stated from the other would
// not be free of the choice otherwise.
func (x *memberIndex) split() {
	x.halfOf = make([]uint8, len(x.Skies))
	if x.halves == 1 {
		return
	}
	seen := map[uint64]uint8{}
	var turn [2]uint8 // of dry members, and of wet ones
	for m := range x.Skies {
		key := uint64(14695981039346656037) // FNV-1a over the hours' amounts
		wet := 0
		for h, mm := range x.Skies[m].rain {
			if mm != 0 {
				wet = 1
				key = (key ^ uint64(h)) * 1099511628211
				key = (key ^ math.Float64bits(mm)) * 1099511628211
			}
		}
		if half, ok := seen[key]; ok && wet == 1 {
			x.halfOf[m] = half
			continue
		}
		x.halfOf[m] = turn[wet]
		turn[wet] ^= 1
		if wet == 1 {
			seen[key] = x.halfOf[m]
		}
	}
}

// half returns the half that a member belongs to: choosing or stating.
func (x *memberIndex) half(m int) int { return int(x.halfOf[m]) }
