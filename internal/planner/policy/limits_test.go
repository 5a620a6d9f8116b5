package policy

import (
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/pour"
	"testing"
)

// The largest projects are weighed within the count of work that bounds a plan.
func TestTheLargestProjectsAreWeighedWithinTheirCount(t *testing.T) {
	for _, c := range jobtest.LargestJobs {
		in := jobtest.LargestJob(t, c.Mixed, c.After, c.Sets)
		f, err := Prepare(t.Context(), &in)
		if err != nil {
			t.Fatal(err)
		}
		m := NewModel(f, f.First(), true, nil)
		if v := m.value(m.First, State{}); !(v > 0) {
			t.Errorf("%s: expected loss %v", c.Name, v)
		}
		if most := mostCoarse + mostCoarse/100; m.weighed > most {
			t.Errorf("%s: %d actions weighed, more than %d", c.Name, m.weighed, most)
		}
		if len(f.nodes) > 40 {
			t.Errorf("%s: %d thicknesses of slab worked out", c.Name, len(f.nodes))
		}
	}
}

// Positions in a sequence must not wrap: 300 pads are poured to the last.
func TestASequenceOfMoreThan256PadsEnds(t *testing.T) {
	spec := jobtest.Largest(false, false, 0)
	spec.Pads = spec.Pads[:300]
	spec.Crew.People = 6
	in := jobtest.JobFor(spec, jobtest.Weather(12, 2, 1, jobtest.Mild, jobtest.Dry), 10)
	for i, p := range spec.Pads {
		r := pour.PadRecord{Pad: p.Name, State: pour.Waiting}
		if i < 30 {
			r.State = pour.Cured
		}
		in.Records = append(in.Records, r)
	}
	f, err := Prepare(t.Context(), &in)
	if err != nil {
		t.Fatal(err)
	}
	m := NewModel(f, f.First(), false, nil)
	var s State
	s.Pos[0] = 260
	if m.Done(&s) || m.value(m.days-1, s) <= 0 {
		t.Error("ten pads of 270 are left, and nothing is expected of them")
	}
	before := m.value(m.First, State{})
	if !(before > 1) {
		t.Errorf("270 pads take %v mornings", before)
	}
}
