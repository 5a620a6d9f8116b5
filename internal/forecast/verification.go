package forecast

import "math"

// LeadReport is how the chances of one band of leads proved, and what was
// learned from it.
type LeadReport struct {
	Band         Band    // what corrects them, learned or not
	Here         Score   // of the stated chances, at the place
	Everywhere   Score   // the same over all places
	HereBins     []Bin   // the stated chances, by how high they were, at the place
	AllBins      []Bin   // the same over all places
	Recalibrated bool    // the band's correction was learned
	Pooled       bool    // from all places rather than from this one
	Held         int     // pairs that the decision rests on
	Before       float64 // Brier score on held-back pairs without what was learned
	After        float64 // the same with it; both 0 where nothing could be learned
}

// When a correction is worth using. Judgement, all of it.
const (
	// leastPairs and leastWet must be in each fold, or its weeks say too little.
	leastPairs, leastWet = 100, 10
	// leastSpan is that of the hours counted: two weeks in each fold.
	leastSpan = 28 * 24
	// surelyBetter is how many standard errors the held-back score must gain:
	// one-sided, chance alone brings so much once in twenty times.
	surelyBetter = 1.645
	// placesAtOnce is how many places' weather is taken to be independent in
	// any hour, however many are counted.
	placesAtOnce = 4
	// placeSD is how far a place differs from all places together, against how
	// far a feed differs from what it should be.
	placeSD = 0.5
)

// LearnCounts learns a correction from what was counted at one place and at
// all places (of which it is one), given whether the chances are shares of an
// ensemble's members. A band's correction is used only where it makes the Brier
// score of the held-back weeks better, beyond what chance would do, than the
// correction before it: all places' than the default, the place's than that of
// all places. The prior of all places is PriorRun or PriorMembers; that of the
// place is what all places taught. It returns nil where nothing was learned:
// Draw then does what it does without.
func LearnCounts(here, everywhere *Counts, members bool) (*Recalibration, [NumLeads]LeadReport) {
	prior, plain := PriorRun(), Band{Slope: 1}
	if members {
		prior = PriorMembers()
		plain = PriorEnsemble().Bands[0]
	}
	cal, learned := &Recalibration{}, false
	var reports [NumLeads]LeadReport
	for i, upTo := range Leads {
		plain.UpTo = upTo
		r := LeadReport{Band: plain, Here: here.Score(i), Everywhere: everywhere.Score(i),
			HereBins: here.Bins(i), AllBins: everywhere.Bins(i)}
		all := foldsOf(everywhere, i)
		pooled := all.fit(prior, prior)
		base := [2]Band{plain, plain}
		if all.judge(&r, pooled, base) {
			r.Recalibrated, r.Pooled, r.Band = true, true, pooled.whole.on(plain)
			base = [2]Band{pooled.fold[0].on(plain), pooled.fold[1].on(plain)}
		}
		own := foldsOf(here, i)
		local := own.fit(pooled.fold[0].prior(prior, r.Pooled), pooled.fold[1].prior(prior, r.Pooled))
		if own.judge(&r, local, base) {
			whole := own.points().fit(pooled.whole.prior(prior, r.Pooled))
			r.Recalibrated, r.Pooled, r.Band = true, false, whole.on(plain)
		}
		learned = learned || r.Recalibrated
		cal.Bands = append(cal.Bands, r.Band)
		reports[i] = r
	}
	cal.Heavy = here.heavyLearned()
	amounts, some := learnAmounts(here, everywhere)
	if some {
		cal.Amounts = amounts
	}
	if !learned && cal.Heavy == 0 && !some {
		return nil, reports
	}
	return cal, reports
}

// folds are the points of one band, each fold by itself.
type folds struct {
	fold   [2]points
	enough bool
}

// points are counts as a fit sees them: chances near each other as one.
type points []point

type point struct {
	chance, n float64
	wet       bool
}

func foldsOf(c *Counts, band int) folds {
	f := folds{enough: c.Last.Sub(c.First).Hours()+1 >= leastSpan}
	for k := range f.fold {
		pairs, wet := int64(0), int64(0)
		for _, n := range c.Of[band][k] {
			pairs, wet = pairs+n.Pairs, wet+n.Wet
			if n.Wet > 0 {
				f.fold[k] = append(f.fold[k], point{float64(n.SumWet) / ChanceSteps / float64(n.Wet), float64(n.Wet),
					true})
			}
			if dry := n.Pairs - n.Wet; dry > 0 {
				f.fold[k] = append(f.fold[k], point{float64(n.Sum-n.SumWet) / ChanceSteps / float64(dry), float64(dry),
					false})
			}
		}
		f.enough = f.enough && pairs >= leastPairs && wet >= leastWet
	}
	// What many places say of one hour is not as much as they are.
	total, most := f.fold[0].total()+f.fold[1].total(), placesAtOnce*(c.Last.Sub(c.First).Hours()+1)
	if total > most {
		for k := range f.fold {
			for i := range f.fold[k] {
				f.fold[k][i].n *= most / total
			}
		}
	}
	return f
}

func (p points) total() (n float64) {
	for i := range p {
		n += p[i].n
	}
	return n
}

func (f *folds) points() points {
	return append(append(points{}, f.fold[0]...), f.fold[1]...)
}

// odds is a fitted correction: as of Band.
type odds struct{ shift, slope, miss, base float64 }

// fits are those to each fold and to the whole.
type fits struct {
	fold  [2]odds
	whole odds
}

// fit fits each fold with its own prior, so that what is learned elsewhere
// from the other fold's weeks does not leak in; the whole has the first's.
func (f *folds) fit(even, odd Prior) fits {
	return fits{fold: [2]odds{f.fold[0].fit(even), f.fold[1].fit(odd)}, whole: f.points().fit(even)}
}

// on returns the band that the correction makes of what is done without it.
func (o odds) on(plain Band) Band {
	return Band{UpTo: plain.UpTo, On: true, Shift: o.shift, Slope: o.slope, Miss: o.miss, Base: o.base}
}

// prior returns what a place is believed to be like, from what all places
// taught, where that is believed.
func (o odds) prior(usual Prior, believed bool) Prior {
	if !believed {
		return usual
	}
	return Prior{Shift: o.shift, ShiftSD: usual.ShiftSD * placeSD, Slope: o.slope, SlopeSD: usual.SlopeSD * placeSD}
}

// judge scores each fold by the fit to the other one, against what is done
// without it, and reports whether that is surely better.
func (f *folds) judge(r *LeadReport, learned fits, base [2]Band) bool {
	if !f.enough {
		return false
	}
	var n, before, after, gain, squares float64
	for k := range f.fold {
		with := learned.fold[1-k].on(base[1-k])
		for _, p := range f.fold[k] {
			b, a := lossOf(base[1-k], p), lossOf(with, p)
			n += p.n
			before, after = before+p.n*b, after+p.n*a
			gain, squares = gain+p.n*(b-a), squares+p.n*(b-a)*(b-a)
		}
	}
	before, after, gain = before/n, after/n, gain/n
	se := math.Sqrt(max(0, squares/n-gain*gain) / (n * independentShare))
	better := gain > surelyBetter*se && gain > 0
	if better || !r.Recalibrated {
		r.Held, r.Before, r.After = int(math.Round(n)), before, after
	}
	return better
}

// lossOf returns the squared difference of corrected chance and outcome.
func lossOf(b Band, p point) float64 {
	cal := Recalibration{Bands: []Band{b}}
	d := cal.Apply(p.chance, 0)
	if p.wet {
		d--
	}
	return d * d
}

// mostMiss and missStep are the shares of chances that tell nothing that are
// tried.
const mostMiss, missStep = 0.3, 0.05

// fit returns the correction of greatest posterior density.
func (p points) fit(prior Prior) odds {
	base, n := 0.0, p.total()
	for i := range p {
		if p[i].wet {
			base += p[i].n / n
		}
	}
	best, least := odds{shift: prior.Shift, slope: prior.Slope}, math.Inf(1)
	for miss := 0.0; miss < mostMiss+missStep/2; miss += missStep {
		o := odds{prior.Shift, prior.Slope, miss, base}
		o.fit(p, prior)
		if m := o.minusPosterior(p, prior); m < least {
			best, least = o, m
		}
	}
	return best
}

func (o odds) band() Band { return Band{Shift: o.shift, Slope: o.slope, Miss: o.miss, Base: o.base} }

func (o odds) minusPosterior(p points, prior Prior) float64 {
	sq := func(x float64) float64 { return x * x / 2 }
	m := sq((o.shift-prior.Shift)/prior.ShiftSD) + sq((o.slope-prior.Slope)/prior.SlopeSD) + sq(o.miss/missSD)
	b := o.band()
	for i := range p {
		q := b.apply(oddsOf(p[i].chance))
		if !p[i].wet {
			q = 1 - q
		}
		m -= independentShare * p[i].n * math.Log(q)
	}
	return m
}

// leastSlope keeps a correction from turning the order of chances round.
const leastSlope = 0.05

// fit sets the shift and slope of greatest posterior density for the share of
// chances that tell nothing, by Fisher's scoring.
func (o *odds) fit(p points, prior Prior) {
	const most, near = 30, 1e-9
	wa, wb := 1/(prior.ShiftSD*prior.ShiftSD), 1/(prior.SlopeSD*prior.SlopeSD)
	for range most {
		ga, gb := wa*(prior.Shift-o.shift), wb*(prior.Slope-o.slope)
		haa, hab, hbb := wa, 0.0, wb
		b := o.band()
		for i := range p {
			x := oddsOf(p[i].chance)
			l := logistic(o.shift + o.slope*x)
			q, dq := b.mix(l), (1-o.miss)*l*(1-l)
			d := -q
			if p[i].wet {
				d++
			}
			n := independentShare * p[i].n / (q * (1 - q))
			v := n * dq * dq
			ga, gb = ga+n*d*dq, gb+n*d*dq*x
			haa, hab, hbb = haa+v, hab+v*x, hbb+v*x*x
		}
		det := haa*hbb - hab*hab
		da, db := (ga*hbb-gb*hab)/det, (gb*haa-ga*hab)/det
		o.shift, o.slope = o.shift+da, max(leastSlope, o.slope+db)
		if math.Abs(da)+math.Abs(db) < near {
			break
		}
	}
}
