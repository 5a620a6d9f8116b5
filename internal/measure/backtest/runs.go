package backtest

import (
	"hash/fnv"
	"math/rand/v2"

	"dryslot/internal/measure/check"
)

// Run is one job from its start date to its end under one policy.
type Run struct {
	Start    int     // day of the station's record
	Days     float64 // mornings from the start date to the last successful placing, both counted
	Lost     float64 // pads
	Finished bool    // false: given up after longestJob days, counted as that long
}

// Loss is days to finish plus what the lost pads count as.
func (r Run) Loss(lostPadDays float64) float64 { return r.Days + lostPadDays*r.Lost }

// longestJob is when a job is given up, in days.
const longestJob = 45

// Stated is one chosen pad: the chance that it stays unharmed as it was
// stated, and what came of it, had nobody stopped: 0 lost, 1 unharmed, between
// for a chance.
type Stated struct {
	Chance, Unharmed float64
}

// Tally is all that a policy did at a site.
type Tally struct {
	Policy  string
	Runs    []Run
	Stated  []Stated
	Days    int // pours checked
	Faults  []string
	Changed int // mornings on which dawn decided otherwise than the evening
	Asked   int // mornings decided
}

// Run runs the job under a policy from each start date, given ascending.
func (s *Site) Run(p Policy, starts []int) (Tally, error) {
	t := Tally{Policy: p.Name()}
	told := map[tellKey]bool{}
	for _, d := range starts {
		if f, ok := p.(*plan); ok {
			f.forget(s, d)
		}
		s.sky.forget(d)
		r, err := s.job(p, d, &t, told)
		if err != nil {
			return t, err
		}
		t.Runs = append(t.Runs, r)
	}
	return t, nil
}

// tellKey keeps one decision from being counted once for every job that met it.
type tellKey struct {
	day int
	key key
}

func (s *Site) job(p Policy, start int, t *Tally, told map[tellKey]bool) (Run, error) {
	var st state
	r := Run{Start: start}
	for d := start; d < start+longestJob && d < len(s.days)-2; d++ {
		c, err := p.Decide(s, d, &st)
		if err != nil {
			return r, err
		}
		k := tellKey{d, keyAt(s, d, &st)}
		fresh := !told[k]
		told[k] = true
		if fresh {
			t.Asked++
			if c.changed {
				t.Changed++
			}
		}
		pads := c.pads
		if c.all {
			pads = st.open(s.days[d].shut)
		}
		if len(pads) == 0 {
			continue
		}
		if fresh && !c.all {
			s.tell(t, d, &c, &st)
		}
		run := s.longest(d, c.start, pads, &st, s.nowcast(p))
		if fresh {
			s.checkDay(t, d, &run, &st)
		}
		st.settle(&run, func(x *padRun) bool { return s.luck(d, x.pad) < x.harm })
		if st.done == allDone {
			r.Days, r.Lost, r.Finished = float64(d-start+1), float64(st.lost), true
			return r, nil
		}
	}
	r.Days, r.Lost = longestJob, float64(st.lost)
	return r, nil
}

// luck is a number from 0 to 1 that belongs to a pad on a day: every policy
// meets the same.
func (s *Site) luck(d, pad int) float64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(s.Station.Station))
	return rand.New(rand.NewPCG(h.Sum64(), uint64(d)<<8|uint64(pad))).Float64()
}

// tell notes what was stated of the pads chosen and what came of them when
// nobody stops, and holds the plan against the checker.
func (s *Site) tell(t *Tally, d int, c *choice, st *state) {
	run := s.longest(d, c.start, c.pads, st, nil)
	for i := range run.pads {
		for j, pad := range c.pads {
			if pad == run.pads[i].pad {
				t.Stated = append(t.Stated, Stated{c.stated[j], 1 - run.pads[i].harm})
			}
		}
	}
	day := check.Day{Date: s.days[d].date, Start: s.clock(c.start), End: s.clock(c.end)}
	for _, x := range c.expect {
		from, until := s.windowInAny(d, x.place0)
		timed := check.Timed{Pad: padName(x.pad), PlaceStart: s.clock(x.place0), PlaceEnd: s.clock(x.place1), FinishStart: s.clock(x.fin0),
			FinishEnd: s.clock(x.fin1), FinishFrom: s.clock(from), FinishUntil: s.clock(until), ChanceUnharmed: x.unharmed}
		if x.strip < farMinute {
			timed.StripFrom = s.clock(x.strip)
		}
		day.Pads = append(day.Pads, timed)
	}
	t.fault(s, check.Plan(s.situation(d, st, true), []check.Day{day}), "planned")
}

func (t *Tally) fault(s *Site, faults []string, what string) {
	t.Days++
	for _, f := range faults {
		t.Faults = append(t.Faults, s.Station.Station+", "+what+": "+f)
	}
}

// checkDay holds a day as it went against the checker.
func (s *Site) checkDay(t *Tally, d int, run *dayRun, st *state) {
	if len(run.pads) == 0 {
		return
	}
	day := check.Day{Date: s.days[d].date, Start: s.clock(run.start), End: s.clock(run.end)}
	for i := range run.pads {
		p := &run.pads[i]
		timed := check.Timed{Pad: padName(p.pad), PlaceStart: s.clock(p.place0), PlaceEnd: s.clock(p.place1), FinishStart: s.clock(p.fin0),
			FinishEnd: s.clock(p.fin1), FinishFrom: s.clock(p.opens()), FinishUntil: s.clock(p.closes()), ChanceUnharmed: 1}
		if strip := p.place0 + p.slab.strip; strip < farMinute {
			timed.StripFrom = s.clock(strip)
		}
		day.Pads = append(day.Pads, timed)
	}
	t.fault(s, check.Plan(s.situation(d, st, false), []check.Day{day}), "done")
}
