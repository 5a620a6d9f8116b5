package backtest

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"dryslot/internal/measure/check"
	"dryslot/internal/planner/harm"
)

// Run is one job from its start date to its end under one policy.
type Run struct {
	Days    float64 // mornings from the start date to the last successful placing, both counted
	Lost    float64 // pads
	Inspect float64 // pads, as the sum of their chances
	Waited  float64 // hours
	Covers  float64 // sheets laid
	Idle    float64 // of them, over pads that no rain fell on while soft
	Given   bool    // given up after longestJob days, counted as that long
}

func (r Run) answer() answer { return answer{r.Days, r.Lost, r.Inspect, r.Waited} }

// longestJob is when a job is given up, in days.
const longestJob = 45

// Stated is one chosen pad: the chance that it is lost as it was stated, and as
// it was had nobody stopped.
type Stated struct {
	Block       block
	Stated, Was float64
}

// Tally is all that a policy did in a region.
type Tally struct {
	Stated  []Stated
	Days    int // pours checked
	Faults  []string
	Changed int // mornings on which dawn decided otherwise than the evening
	Asked   int // mornings decided
}

func (t *Tally) add(o *Tally) {
	t.Stated = append(t.Stated, o.Stated...)
	t.Faults = append(t.Faults, o.Faults...)
	t.Days, t.Changed, t.Asked = t.Days+o.Days, t.Changed+o.Changed, t.Asked+o.Asked
}

// decisionKey keeps one decision from being counted once for every job that met it.
type decisionKey struct {
	day int
	key key
}

// job runs one job from its start date under a player. t, nil for none, notes what
// was decided and holds it against the checker, each decision of met once.
func (s *Site) job(who player, p Powers, start int, t *Tally, met map[decisionKey]bool) (Run, error) {
	var st state
	var r Run
	if x, ok := who.(*shipped); ok {
		x.last = nil
	}
	for d := start; d < start+longestJob && d < len(s.days)-2; d++ {
		want, err := who.Morning(s, d, &st)
		if err != nil {
			return r, err
		}
		k := decisionKey{d, s.keyAt(d, &st)}
		fresh := t != nil && !met[k]
		if fresh {
			met[k] = true
			t.countDecision(want.changed)
		}
		if len(want.pads) == 0 {
			continue
		}
		order := s.better(d, &st, want, p)
		if fresh && want.expect != nil {
			s.compare(t, d, &want, &st, p, order)
		}
		run := s.play(d, &st, want, who, p, order)
		if fresh {
			s.noteStated(t, who, d, &run)
			s.checkDay(t, d, &run, &st, p)
		}
		r.count(s, &run)
		st.settle(&run, func(pad int) float64 { return s.luck(d, pad) })
		r.Lost = float64(st.lost)
		if st.done == allDone {
			r.Days = float64(d - start + 1)
			return r, nil
		}
	}
	r.Days, r.Given = longestJob, true
	return r, nil
}

// countDecision counts a morning that was decided, and whether dawn changed it.
func (t *Tally) countDecision(changed bool) {
	t.Asked++
	if changed {
		t.Changed++
	}
}

// noteStated notes what a player that decides by the hour stated of each pad,
// and what came of it.
func (s *Site) noteStated(t *Tally, who player, d int, run *dayRun) {
	h, ok := who.(*byHour)
	if !ok {
		return
	}
	for i := range min(len(h.stated), len(run.pads)) {
		t.Stated = append(t.Stated, Stated{s.block(d), h.stated[i], run.pads[i].fate.lost})
	}
}

// count adds what a day cost beside its date.
func (r *Run) count(s *Site, run *dayRun) {
	r.Waited += run.waited()
	for i := range run.pads {
		p := &run.pads[i]
		r.Inspect += p.fate.inspect * (1 - p.fate.lost)
		if !math.IsInf(p.coverOn, 1) {
			r.Covers++
			if !harm.Touches(s.mostRain(p.coverOn, p.sets())) {
				r.Idle++
			}
		}
	}
}

// luck is a number from 0 to 1 that belongs to a pad on a day: every policy
// meets the same.
func (s *Site) luck(d, pad int) float64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(s.Station.Station))
	return rand.New(rand.NewPCG(h.Sum64()+uint64(s.days[0].date.Year), uint64(d)<<8|uint64(pad))).Float64()
}

// compare notes what was stated of the pads chosen and what came of them when
// nobody stops or covers, and holds the plan against the checker.
func (s *Site) compare(t *Tally, d int, want *dayPlan, st *state, p Powers, order workOrder) {
	run := s.play(d, st, *want, nil, p, order)
	for i := range run.pads {
		for j, pad := range want.pads {
			if pad == run.pads[i].pad {
				t.Stated = append(t.Stated, Stated{s.block(d), 1 - want.stated[j], run.pads[i].fate.lost})
			}
		}
	}
	day := check.Day{Date: s.days[d].date, Start: s.clock(want.start), End: s.clock(want.end)}
	for _, x := range want.expect {
		from, until := s.windowInAny(d, x.place0, p)
		timed := check.Timed{
			Pad:            padName(x.pad),
			PlaceStart:     s.clock(x.place0),
			PlaceEnd:       s.clock(x.place1),
			FinishStart:    s.clock(x.fin0),
			FinishEnd:      s.clock(x.fin1),
			FinishFrom:     s.clock(from),
			FinishUntil:    s.clock(until),
			ChanceUnharmed: x.unharmed,
		}
		if x.strip < farMinute {
			timed.StripFrom = s.clock(x.strip)
		}
		day.Pads = append(day.Pads, timed)
	}
	t.fault(s, check.Plan(s.situation(d, st, p, true), []check.Day{day}), "planned")
}

func (t *Tally) fault(s *Site, faults []string, what string) {
	t.Days++
	for _, f := range faults {
		t.Faults = append(t.Faults, s.Station.Station+", "+what+": "+f)
	}
}

// checkDay holds a day as it went against the checker.
func (s *Site) checkDay(t *Tally, d int, run *dayRun, st *state, own Powers) {
	if len(run.pads) == 0 {
		return
	}
	day := check.Day{Date: s.days[d].date, Start: s.clock(run.start), End: s.clock(run.end), Sheets: own.Covers}
	for i := range run.pads {
		p := &run.pads[i]
		timed := check.Timed{
			Pad:            padName(p.pad),
			PlaceStart:     s.clock(p.place0),
			PlaceEnd:       s.clock(p.place1),
			FinishStart:    s.clock(p.fin0),
			FinishEnd:      s.clock(p.fin1),
			FinishFrom:     s.clock(p.opens()),
			FinishUntil:    s.clock(p.closes()),
			ChanceUnharmed: 1,
		}
		if strip := p.place0 + p.slab.strip; strip < farMinute {
			timed.StripFrom = s.clock(strip)
		}
		day.Pads = append(day.Pads, timed)
	}
	for _, w := range run.waits {
		day.Waits = append(day.Waits, check.Span{From: s.clock(w.from), To: s.clock(w.to)})
	}
	for _, c := range run.covers {
		x := check.Covering{Span: check.Span{From: s.clock(c.from), To: s.clock(c.to)}, MinutesEach: coverMin}
		for _, pad := range c.pads {
			x.Pads = append(x.Pads, padName(pad))
		}
		day.Covers = append(day.Covers, x)
	}
	t.fault(s, check.Plan(s.situation(d, st, own, false), []check.Day{day}), "done")
}
