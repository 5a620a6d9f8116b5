package backtest

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
)

// Interval is a figure with its 90 % block-bootstrap interval.
type Interval struct{ Value, Low, High float64 }

// draws is how many samples a bootstrap takes.
const draws = 1000

// decider returns the run of a case that is looked at; rules that are chosen
// differ from fold to fold.
type decider func(c *Case) *Run

func (o *Outcome) index(name string) int { return slices.Index(o.Policies, name) }

// named returns the policy of a name.
func named(outs []*Outcome, name string) decider {
	i := outs[0].index(name)
	return func(c *Case) *Run { return &c.Runs[i] }
}

func isOld(name string) bool { return strings.HasPrefix(name, "old_") }

func isEqual(name string) bool { return !isOld(name) && !strings.HasPrefix(name, "planner") }

// regret is a policy's loss above that of perfect foresight.
func (c costs) regret(p decider) func(*Case) float64 {
	return func(x *Case) float64 { return c.loss(p(x).answer()) - c.loss(x.Best) }
}

// plain counts days and lost pads only.
func (c costs) plain() costs { return costs{lost: c.lost} }

// meanOf returns the mean over a region's cases of those that count.
func (o *Outcome) meanOf(f func(*Case) float64, counts func(*Case) bool) float64 {
	sum, n := 0.0, 0
	for i := range o.Cases {
		if c := &o.Cases[i]; counts == nil || counts(c) {
			sum += f(c)
			n++
		}
	}
	return sum / float64(max(1, n))
}

// mean returns the mean over regions, each counting the same.
func mean(outs []*Outcome, f func(*Case) float64, counts func(*Case) bool) float64 {
	sum := 0.0
	for _, o := range outs {
		sum += o.meanOf(f, counts) / float64(len(outs))
	}
	return sum
}

// best returns the rule of least mean loss over the regions among those of a
// kind, by the trials of one fold; fold -1: of both.
func best(outs []*Outcome, kind func(string) bool, fold int) (name string) {
	least := math.Inf(1)
	for i, n := range outs[0].Policies {
		if !kind(n) {
			continue
		}
		sum := 0.0
		for _, o := range outs {
			sum += o.meanTrial(i, fold)
		}
		if sum < least {
			least, name = sum, n
		}
	}
	return name
}

// meanTrial returns a rule's mean loss over the trials of a fold.
func (o *Outcome) meanTrial(rule, fold int) float64 {
	sum, n := 0.0, 0
	for i := range o.Trials {
		if t := &o.Trials[i]; fold < 0 || t.Fold == fold {
			sum += t.Losses[rule]
			n++
		}
	}
	return sum / float64(max(1, n))
}

// chosen returns the equal-power rule that is chosen on the 28-day blocks of
// the other fold, and what it is in each fold.
func chosen(outs []*Outcome) (decider, [2]string) {
	var names [2]string
	var of [2]decider
	for fold := range of {
		names[fold] = best(outs, isEqual, 1-fold)
		of[fold] = named(outs, names[fold])
	}
	return func(c *Case) *Run { return of[c.Fold](c) }, names
}

// sums are the values of one block.
type sums struct{ top, bottom float64 }

// bootstrap draws blocks with replacement, region by region. join makes a
// figure of the regions' sums.
func bootstrap(regions [][]sums, join func([]sums) float64) Interval {
	total := func(take func(n int) int) float64 {
		out := make([]sums, len(regions))
		for r, blocks := range regions {
			for range blocks {
				b := blocks[take(len(blocks))]
				out[r].top, out[r].bottom = out[r].top+b.top, out[r].bottom+b.bottom
			}
		}
		return join(out)
	}
	k := -1
	each := func(n int) int { k++; return k % n }
	whole := make([]sums, len(regions))
	for r, blocks := range regions {
		k = -1
		for range blocks {
			b := blocks[each(len(blocks))]
			whole[r].top, whole[r].bottom = whole[r].top+b.top, whole[r].bottom+b.bottom
		}
	}
	rnd := rand.New(rand.NewPCG(14, 90))
	xs := make([]float64, draws)
	for i := range xs {
		xs[i] = total(rnd.IntN)
	}
	slices.Sort(xs)
	return Interval{
		join(whole),
		stat.Quantile(0.05, stat.Empirical, xs, nil),
		stat.Quantile(0.95, stat.Empirical, xs, nil),
	}
}

// meanOfMeans is the mean over regions of each one's mean.
func meanOfMeans(s []sums) float64 {
	out, n := 0.0, 0.0
	for _, x := range s {
		if x.bottom > 0 {
			out += x.top / x.bottom
			n++
		}
	}
	return out / max(1, n)
}

// ratioOfSums pools the regions.
func ratioOfSums(s []sums) float64 {
	var a sums
	for _, x := range s {
		a.top, a.bottom = a.top+x.top, a.bottom+x.bottom
	}
	if a.bottom == 0 {
		return math.NaN()
	}
	return a.top / a.bottom
}

// byBlock sums values by block, in the order in which the blocks come.
func byBlock[T any](xs []T, of func(*T) (block, sums)) []sums {
	at := map[block]int{}
	var out []sums
	for i := range xs {
		b, x := of(&xs[i])
		k, ok := at[b]
		if !ok {
			k = len(out)
			at[b] = k
			out = append(out, sums{})
		}
		out[k].top, out[k].bottom = out[k].top+x.top, out[k].bottom+x.bottom
	}
	return out
}

// interval is the mean over regions of a value of the cases.
func interval(outs []*Outcome, f func(*Case) float64) Interval {
	var regions [][]sums
	for _, o := range outs {
		regions = append(regions, byBlock(o.Cases, func(c *Case) (block, sums) { return c.Block, sums{f(c), 1} }))
	}
	return bootstrap(regions, meanOfMeans)
}

// Honesty tells how far stated chances of pads chosen came true.
type Honesty struct {
	Pads     int
	Gap      float64  // weighted mean over bins of at least 200 pads, pooled over regions
	Expected float64  // pads lost, as stated
	Ratio    Interval // pads lost had nobody stopped, over Expected
}

// honest compares a policy's stated chances with what happened. A pad that
// rain would have lost with a chance counts by that chance.
func honest(outs []*Outcome, name string) Honesty {
	var h Honesty
	var all []Stated
	var regions [][]sums
	for _, o := range outs {
		i := o.index(name)
		if i < 0 {
			return h
		}
		of := o.Tallies[i].Stated
		all = append(all, of...)
		regions = append(regions, byBlock(of, func(x *Stated) (block, sums) { return x.Block, sums{x.Was, x.Stated} }))
	}
	slices.SortStableFunc(all, func(a, b Stated) int { return cmp.Compare(a.Stated, b.Stated) })
	h.Pads = len(all)
	for _, x := range all {
		h.Expected += x.Stated
	}
	h.Ratio = bootstrap(regions, ratioOfSums)
	const least, most = 200, 10
	bins := max(1, min(most, len(all)/least))
	for b := range bins {
		part := all[b*len(all)/bins : (b+1)*len(all)/bins]
		gap := 0.0
		for _, x := range part {
			gap += x.Was - x.Stated
		}
		h.Gap += math.Abs(gap) / float64(max(1, len(all)))
	}
	return h
}

// row is what one policy came to: means over regions.
type row struct {
	days, nine, lost, inspect, waited, covers, idle, loss, regret, plain, given float64
}

func rowOf(outs []*Outcome, p decider) row {
	c := outs[0].Costs
	m := func(f func(*Run) float64) float64 {
		return mean(outs, func(x *Case) float64 { return f(p(x)) }, nil)
	}
	r := row{days: m(func(r *Run) float64 { return r.Days }), lost: m(func(r *Run) float64 { return r.Lost }),
		inspect: m(func(r *Run) float64 { return r.Inspect }), waited: m(func(r *Run) float64 { return r.Waited }),
		covers: m(func(r *Run) float64 { return r.Covers }), idle: m(func(r *Run) float64 { return r.Idle }),
		loss:   m(func(r *Run) float64 { return c.loss(r.answer()) }),
		regret: mean(outs, c.regret(p), nil), plain: mean(outs, c.plain().regret(p), nil),
		given: m(func(r *Run) float64 {
			if r.Given {
				return 1
			}
			return 0
		})}
	for _, o := range outs {
		var days []float64
		for i := range o.Cases {
			days = append(days, p(&o.Cases[i]).Days)
		}
		slices.Sort(days)
		if len(days) > 0 {
			r.nine += stat.Quantile(0.9, stat.Empirical, days, nil) / float64(len(outs))
		}
	}
	return r
}
