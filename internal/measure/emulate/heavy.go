package emulate

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"dryslot/internal/forecast"
)

// trainingBlock is the length in days of the blocks of which every other one is
// fitted on.
const trainingBlock = 28

// heavyPair is one wet hour: what a forecast of 05:00 said of it, and whether it
// was heavy.
type heavyPair struct {
	signs  [4]float64
	stated float64 // share of heavy hours among such, as package forecast has it
	heavy  bool
	weight float64
}

// FitHeavy fits how the share of heavy hours among the wet ones follows from what
// a forecast says: the logarithm of -ln(share) is linear in forecast's signs. It
// takes the first of every two blocks of 28 days, every region counting the same,
// by greatest likelihood (Fisher scoring).
func FitHeavy(regions []*Region) ([4]float64, error) {
	var pairs []heavyPair
	for _, r := range regions {
		of := r.heavyPairs(func(d int) bool { return d/trainingBlock%2 == 0 })
		for i := range of {
			of[i].weight = 1 / float64(len(of))
		}
		pairs = append(pairs, of...)
	}
	const steps, close = 60, 1e-5
	b := [4]float64{0.5, 0, 0, 0}
	for range steps {
		move, err := scoring(pairs, b)
		if err != nil {
			return b, err
		}
		most := 0.0
		for i := range b {
			b[i] += move[i]
			most = max(most, math.Abs(move[i]))
		}
		if most < close {
			return b, nil
		}
	}
	return b, errors.New("emulate: the fit of heavy hours does not settle")
}

// scoring returns the next step of the fit.
func scoring(pairs []heavyPair, b [4]float64) (move [4]float64, err error) {
	const n = len(b)
	gradient, information := mat.NewVecDense(n, nil), mat.NewDense(n, n, nil)
	for i := range pairs {
		p := &pairs[i]
		eta := 0.0
		for k, x := range p.signs {
			eta += b[k] * x
		}
		rate := math.Exp(min(max(eta, -4), 3))
		share := min(max(math.Exp(-rate), 1e-9), 1-1e-9)
		slope, was := -rate*share, 0.0
		if p.heavy {
			was = 1
		}
		g := p.weight * (was - share) / (share * (1 - share)) * slope
		v := p.weight * slope * slope / (share * (1 - share))
		for k, x := range p.signs {
			gradient.SetVec(k, gradient.AtVec(k)+g*x)
			for l, y := range p.signs {
				information.Set(k, l, information.At(k, l)+v*x*y)
			}
		}
	}
	var out mat.VecDense
	if err := out.SolveVec(information, gradient); err != nil {
		return move, fmt.Errorf("emulate: fit of heavy hours: %w", err)
	}
	for i := range move {
		move[i] = min(max(out.AtVec(i), -1), 1)
	}
	return move, nil
}

// heavyPairs lists the wet hours of the forecasts of 05:00 for their own day, of
// the days of the year that count.
func (r *Region) heavyPairs(counts func(yearDay int) bool) []heavyPair {
	var out []heavyPair
	for _, s := range r.Stations {
		for d := range s.Days() {
			if !counts(s.DayOfYear(d)) || !s.whole[d] {
				continue
			}
			f, ok := s.Forecast(&r.Noise, s.Dawn(d), 0)
			if !ok {
				continue
			}
			for i := range f.Hours {
				h := &f.Hours[i]
				mm := s.RainMM[s.Index(h.Start)]
				if !(mm > forecast.DefaultWet.OverMM) {
					continue
				}
				signs := forecast.AmountSigns{Chance: h.Get(forecast.RainChance).V, MM: h.Get(forecast.RainMM),
					DewC: forecast.DewPointOf(h.Get(forecast.AirC).V, h.Get(forecast.HumidityPct).V),
					Lead: h.Start.Sub(f.FetchedAt())}
				out = append(out, heavyPair{signs: signs.Features(), stated: signs.Heavy(),
					heavy: mm >= forecast.HeavyMM})
			}
		}
	}
	return out
}
