package forecast

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"dryslot/internal/place"
)

// The latent series is the sum of a fast part, which makes neighbouring hours
// alike, and a slow one, which makes a whole half-day wetter or drier than was
// foreseen. Both are Gaussian autoregressions; only ranks matter.
const (
	slowCorrelation = 0.97 // hour to hour
	warmUpDays      = 5    // by then the slow part has forgotten its start (0.97^120 = 0.03)
)

// seedFor gives a source of numbers that depends on the cell, the target date
// and the purpose alone.
func seedFor(c place.Cell, day time.Time, purpose string) *rand.Rand {
	h := fnv.New64a()
	_, _ = h.Write([]byte(c.Key()))
	_, _ = h.Write([]byte(purpose))
	return rand.New(rand.NewPCG(h.Sum64(), uint64(day.Unix())))
}

// latentOrder ranks the members of each hour that is asked for, the wettest
// first. The ranks of an hour do not depend on the forecast but for which
// hours it has.
func latentOrder(f *Forecast, m int, lag1 float64, asked func(h int) bool) [][]int32 {
	fastPhi, slowShare := latentOf(lag1)
	fastNew := math.Sqrt(1 - fastPhi*fastPhi)
	const slowPhi = slowCorrelation
	slowNew := math.Sqrt(1 - slowPhi*slowPhi)
	fastWeight, slowWeight := math.Sqrt(1-slowShare), math.Sqrt(slowShare)

	n := len(f.Hours)
	order := make([][]int32, n)
	flat := make([]int32, n*m)
	fast, slow := make([]float64, m), make([]float64, m)
	keys := make([]uint64, m)
	start := f.Hours[0].Start.UTC()
	day := start.Truncate(24*time.Hour).AddDate(0, 0, -warmUpDays)
	for h := int(day.Sub(start) / time.Hour); h < n; day = day.AddDate(0, 0, 1) {
		rnd := seedFor(f.Cell, day, "rain")
		for range 24 {
			for i := range fast {
				fast[i] = fastPhi*fast[i] + fastNew*rnd.NormFloat64()
				slow[i] = slowPhi*slow[i] + slowNew*rnd.NormFloat64()
			}
			if h >= 0 && h < n && asked(h) {
				for i := range keys {
					keys[i] = rankKey(fastWeight*fast[i]+slowWeight*slow[i], i)
				}
				slices.Sort(keys)
				order[h] = flat[h*m : (h+1)*m]
				for i, k := range keys {
					order[h][m-1-i] = int32(uint32(k))
				}
			}
			h++
		}
	}
	return order
}

// rankKey packs a value and a member so that keys sort by value, then member.
func rankKey(v float64, member int) uint64 {
	b := math.Float32bits(float32(v))
	if b&(1<<31) != 0 {
		b = ^b
	} else {
		b |= 1 << 31
	}
	return uint64(b)<<32 | uint64(uint32(member))
}
