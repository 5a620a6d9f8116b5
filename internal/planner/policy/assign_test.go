package policy

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/pour"
)

// assignment is the fixed-chance problem: each pad gets a morning, every
// morning takes so many pads and loses each with a chance of its own.
type assignment struct {
	Pads     []int     `json:"pads"`
	After    [][2]int  `json:"after"`
	Counts   []int     `json:"counts"`
	Most     []int     `json:"most"`
	Lost     []float64 `json:"lost"`
	Ready    []int     `json:"ready"`
	LostDays float64   `json:"lost_days"`
}

type answer struct {
	Cost    *float64 `json:"cost"`
	Seconds float64  `json:"seconds"`
	Gap     *float64 `json:"gap"`
}

// drawAssignment draws an instance over so many mornings for a crew that
// manages about perDay pads.
func drawAssignment(r *rand.Rand, spec pour.Spec, mornings, perDay int) assignment {
	a := assignment{LostDays: spec.Limits.LostPadDays}
	index := map[string]int{}
	for i, p := range spec.Pads {
		index[p.Name] = i
	}
	for i, p := range spec.Pads {
		form := 0
		for k, s := range spec.FormSets {
			if p.FormSet != nil && s.Name == *p.FormSet {
				form = k
			}
		}
		a.Pads = append(a.Pads, form)
		for _, q := range p.After {
			a.After = append(a.After, [2]int{i, index[q.Pad]})
		}
	}
	for _, s := range spec.FormSets {
		a.Counts = append(a.Counts, s.Count)
	}
	for d := range mornings {
		a.Most = append(a.Most, max(0, perDay-3+r.IntN(6)))
		a.Lost = append(a.Lost, 0.6*math.Pow(r.Float64(), 2))
		a.Ready = append(a.Ready, d+1+r.IntN(5)/4)
	}
	return a
}

// frameOf makes the planner's own frame of an instance: one start a morning,
// whose table holds the instance's chances instead of those judged.
func frameOf(tb testing.TB, spec pour.Spec, a assignment) *Prepared {
	tb.Helper()
	spec.Limits.RainRisk = 1
	job := jobtest.JobFor(spec, jobtest.Weather(len(a.Most)+2, 2, 1, jobtest.Mild, jobtest.Dry), len(a.Most))
	f, err := Prepare(tb.Context(), &job)
	if err != nil {
		tb.Fatal(err)
	}
	order := make([]*crewday.Work, len(f.Pads))
	for i := range order {
		order[i] = f.kinds[0]
	}
	for d := range f.Days {
		day := &f.Days[d]
		day.Starts = day.Starts[:1]
		t := &table{day: d, Order: order, Cells: make([][]cell, 1), most: a.Most[d]}
		t.count[0][0] = 1
		strip := f.Days[d].Noon + float64(a.Ready[d]-d-1)*24*60
		begins := slices.Repeat([]float64{day.Starts[0] + f.Crew.SetUp}, len(order)) // the instance knows mornings only
		for n := 1; n <= min(a.Most[d], len(order)); n++ {
			c := cell{strip: strip, begins: begins}
			c.lost[0][0] = a.Lost[d] * float64(n)
			t.Cells[0] = append(t.Cells[0], c)
		}
		t.most = len(t.Cells[0])
		f.tabs[f.tableKey(d, f.fitting(d, order[:min(len(order), crewday.MostPads)]))] = t
	}
	return f
}

// solve finds the best plan of an instance as the planner does: what a pour
// costs beside its morning is left out, and so is anything beyond the horizon.
func solve(f *Prepared) *Model {
	var best *Model
	for tie := range tieBreaks {
		m := ModelTied(f, 0, false, tie)
		m.perPour, m.perDay, m.beyond = 0, 1, 1e4
		if best == nil || m.value(0, State{}) < best.value(0, State{}) {
			best = m
		}
	}
	return best
}

// check returns the cost of a path by the instance's own terms, and whether it
// breaks a rule.
func (a *assignment) check(path []Planned) (cost float64, fault string) {
	at := map[int]int{}
	last := -1
	for _, p := range path {
		if len(p.Pads) > a.Most[p.Day] {
			return 0, "too many pads on a morning"
		}
		for _, pad := range p.Pads {
			at[pad] = p.Day
			cost += a.LostDays * a.Lost[p.Day]
		}
		last = p.Day
	}
	if len(at) != len(a.Pads) {
		return 0, "pads are left over"
	}
	for _, o := range a.After {
		if a.Ready[at[o[1]]] > at[o[0]] {
			return 0, "an order is broken"
		}
	}
	for f, count := range a.Counts {
		for d := range a.Most {
			n := 0
			for pad, e := range at {
				if a.Pads[pad] == f && e <= d && (e == d || a.Ready[e] > d) {
					n++
				}
			}
			if n > count {
				return 0, "a form set is overfull"
			}
		}
	}
	return cost + float64(last+1), ""
}

var assignments = []struct {
	name             string
	spec             func() pour.Spec
	mornings, perDay int
	tries            int
}{{"j12", jobtest.JobJ12, 10, 7, 12}, {"j24", jobtest.JobJ24, 10, 12, 8}, {"j60", jobtest.JobJ60, 12, 18, 3}}

// BenchmarkAssignment solves fixed-chance assignments beside HiGHS (through
// Debian's python3-scipy), and prints gap and time of both.
func BenchmarkAssignment(b *testing.B) {
	for _, c := range assignments {
		if testing.Short() && c.name != "j12" {
			continue
		}
		r := rand.New(rand.NewPCG(41, uint64(len(c.name)+c.tries)))
		var in bytes.Buffer
		var ours []float64
		var spent time.Duration
		enc := json.NewEncoder(&in)
		for len(ours) < c.tries {
			a := drawAssignment(r, c.spec(), c.mornings, c.perDay)
			f := frameOf(b, c.spec(), a)
			begun := time.Now()
			path := solve(f).Path(nil)
			took := time.Since(begun)
			cost, fault := a.check(path)
			if fault == "pads are left over" {
				continue // not enough mornings in this draw for anybody
			}
			if fault != "" {
				b.Fatalf("%s: %s", c.name, fault)
			}
			spent += took
			ours = append(ours, cost)
			if err := enc.Encode(a); err != nil {
				b.Fatal(err)
			}
		}
		cmd := exec.Command("/usr/bin/python3", "testdata/assign.py")
		cmd.Stdin = &in
		out, err := cmd.Output()
		if err != nil {
			b.Fatalf("HiGHS through python3-scipy: %v", err)
		}
		worst, theirs := 0.0, 0.0
		for i, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
			var x answer
			if err := json.Unmarshal([]byte(line), &x); err != nil || x.Cost == nil {
				b.Fatalf("%s: %s: %v", c.name, line, err)
			}
			worst = max(worst, (ours[i]-*x.Cost) / *x.Cost)
			theirs += x.Seconds
		}
		each := spent.Seconds() / float64(c.tries)
		fmt.Printf("assign_%s_gap: %.5f ratio\nassign_%s: %.4g ms\nassign_%s_highs: %.4g ms\nassign_%s_speedup: "+
			"%.4g ratio\n", c.name, worst, c.name, 1e3*each, c.name, 1e3*theirs/float64(c.tries), c.name,
			theirs/spent.Seconds())
	}
	for b.Loop() {
	}
}
