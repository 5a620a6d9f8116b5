package forecast

import "math"

// AmountCount is what came of amounts that were stated of hours that were wet: in
// steps of AmountStep above 0.1 mm, whole numbers, so that sums are exact.
type AmountCount struct {
	Wet                                  int64
	Stated, Came                         int64 // sums
	StatedSquares, CameSquares, Products int64
}

// AmountStep is the step of the logarithm that amounts are kept in.
const AmountStep = 0.04

// mostAmount is the most steps an amount is kept in.
const mostAmount = 254

// AmountCounts are the counts of a place's wet hours by the amount stated of them:
// amountBin steps together. How many hours of a stated amount lie below the wet
// threshold, and so are not among the counts, depends on that amount.
type AmountCounts [mostAmount/amountBin + 1]AmountCount

const amountBin = 16

// amountOf returns an amount in steps.
func amountOf(mm float64) byte {
	x := math.Round(math.Log(max(mm, leastAmountMM)/leastAmountMM) / AmountStep)
	return byte(min(x, mostAmount))
}

// count counts a wet hour.
func (c *AmountCounts) count(stated, came byte) {
	x, y := int64(stated), int64(came)
	c[stated/amountBin].add(AmountCount{1, x, y, x * x, y * y, x * y})
}

func (c *AmountCounts) add(o *AmountCounts) {
	for i := range c {
		c[i].add(o[i])
	}
}

func (n *AmountCount) add(o AmountCount) {
	n.Wet, n.Stated, n.Came = n.Wet+o.Wet, n.Stated+o.Stated, n.Came+o.Came
	n.StatedSquares += o.StatedSquares
	n.CameSquares += o.CameSquares
	n.Products += o.Products
}

// total returns the hours of all amounts together.
func (c *AmountCounts) total() (n AmountCount) {
	for i := range c {
		n.add(c[i])
	}
	return n
}

// canBe reports whether there are amounts that add up to the count, stated ones
// between least and most steps.
func (n AmountCount) canBe(least, most int64) bool {
	if n.Wet < 0 || n.Wet > mostPairs || n.Stated < least*n.Wet || n.Stated > most*n.Wet || n.Came < 0 ||
		n.Products < 0 || n.StatedSquares > n.Stated*most || n.CameSquares > n.Came*mostAmount {
		return false
	}
	f := func(x int64) float64 { return float64(x) }
	const near = 1 + 1e-9
	return f(n.Stated)*f(n.Stated) <= f(n.Wet)*f(n.StatedSquares)*near &&
		f(n.Came)*f(n.Came) <= f(n.Wet)*f(n.CameSquares)*near &&
		f(n.Products)*f(n.Products) <= f(n.StatedSquares)*f(n.CameSquares)*near
}

// What is believed of an AmountFit before wet hours are seen (judgement): standard
// deviations of shift and slope, and how many independent hours the spread counts as.
const (
	amountShiftSD  = 0.5
	amountSlopeSD  = 0.4
	amountPriorN   = 10.0
	leastAmountFit = 0.3 // of the spread
)

// amountPrior is an AmountFit with its standard deviations.
type amountPrior struct {
	AmountFit
	shiftSD, slopeSD float64
}

// logSums are sums over hours of the logarithms (mm) of the amounts stated (x) and
// come (y).
type logSums struct{ n, x, y, xx, yy, xy float64 }

// logs turns steps above the least amount into logarithms of mm.
func (n AmountCount) logs() logSums {
	low := math.Log(leastAmountMM)
	f := func(x int64) float64 { return float64(x) }
	s := logSums{n: f(n.Wet), x: AmountStep * f(n.Stated), y: AmountStep * f(n.Came)}
	s.xx = AmountStep * AmountStep * f(n.StatedSquares)
	s.yy = AmountStep * AmountStep * f(n.CameSquares)
	s.xy = AmountStep * AmountStep * f(n.Products)
	s.xx, s.yy, s.xy = s.xx+2*low*s.x+s.n*low*low, s.yy+2*low*s.y+s.n*low*low, s.xy+low*(s.x+s.y)+s.n*low*low
	s.x, s.y = s.x+s.n*low, s.y+s.n*low
	return s
}

// unseen adds the hours that a fit has at or below the wet threshold, and that are
// therefore not among the counts, for as many as were counted above it.
func (s *logSums) unseen(counted logSums, a AmountFit) {
	if counted.n == 0 {
		return
	}
	x := counted.x / counted.n
	mean := a.Shift + a.Slope*x
	z := (math.Log(leastAmountMM) - mean) / a.Spread
	above, below := math.Erfc(z/math.Sqrt2)/2, math.Erfc(-z/math.Sqrt2)/2
	const nothing = 1e-9
	if below < nothing {
		return
	}
	n := counted.n * min(below/above, mostUnseen)
	hazard := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / below
	y := mean - a.Spread*hazard // mean and mean square of a normal number below the threshold
	yy := a.Spread*a.Spread*(1-z*hazard-hazard*hazard) + y*y
	s.n, s.x, s.y = s.n+n, s.x+n*x, s.y+n*y
	s.xx, s.yy, s.xy = s.xx+n*x*x, s.yy+n*yy, s.xy+n*x*y
}

// mostUnseen is the most hours below the threshold for each one above it: more would
// say that nearly all of the distribution was never seen.
const mostUnseen = 9

// fit returns the fit of greatest posterior density of a normal distribution that is
// cut off at the wet threshold: by expectation and maximisation (Dempster, Laird and
// Rubin 1977, Journal of the Royal Statistical Society B 39:1; from memory), the hours
// below the threshold being what is missing.
func (c *AmountCounts) fit(p amountPrior) AmountFit {
	out := p.AmountFit
	seen := c.total().logs()
	if seen.n == 0 {
		return out
	}
	const most, near = 100, 1e-6
	for range most {
		all := seen
		for i := range c {
			all.unseen(c[i].logs(), out)
		}
		was := out
		out = all.step(p, out)
		if math.Abs(out.Shift-was.Shift)+math.Abs(out.Slope-was.Slope)+math.Abs(out.Spread-was.Spread) < near {
			break
		}
	}
	out.Unsaid = p.Unsaid * amountPriorN / (amountPriorN + independentShare*seen.n)
	return out
}

// step fits shift and slope with the spread at its last value, then the spread.
func (s logSums) step(p amountPrior, out AmountFit) AmountFit {
	v := independentShare / (out.Spread * out.Spread)
	wa, wb := 1/(p.shiftSD*p.shiftSD), 1/(p.slopeSD*p.slopeSD)
	haa, hab, hbb := wa+v*s.n, v*s.x, wb+v*s.xx
	ga, gb := wa*p.Shift+v*s.y, wb*p.Slope+v*s.xy
	det := haa*hbb - hab*hab
	out.Shift = (ga*hbb - gb*hab) / det
	out.Slope = min(max((gb*haa-ga*hab)/det, leastSlope), 2)
	squares := s.yy + s.n*out.Shift*out.Shift + out.Slope*out.Slope*s.xx -
		2*out.Shift*s.y - 2*out.Slope*s.xy + 2*out.Shift*out.Slope*s.x
	seen := independentShare * max(0, squares)
	out.Spread = math.Sqrt((amountPriorN*p.Spread*p.Spread + seen) / (amountPriorN + independentShare*s.n))
	out.Spread = max(out.Spread, leastAmountFit)
	return out
}

// learnAmounts returns the fit of a place, from its own wet hours and those of all
// places, and whether any hour was counted.
func learnAmounts(here, everywhere *Counts) (AmountFit, bool) {
	usual := amountPrior{StatedAmounts(), amountShiftSD, amountSlopeSD}
	all := usual
	if everywhere.Amounts.total().Wet > 0 {
		all = amountPrior{everywhere.Amounts.fit(usual), amountShiftSD * placeSD, amountSlopeSD * placeSD}
	}
	return here.Amounts.fit(all), here.Amounts.total().Wet+everywhere.Amounts.total().Wet > 0
}
