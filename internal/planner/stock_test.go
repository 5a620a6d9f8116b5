package planner

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"dryslot/internal/measure/check"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/policy"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
)

// With bags for some of the pads only, those are poured, and no end of the job
// is told while a pad can never get its bags.
func TestBagsThatDoNotReachForAllPads(t *testing.T) {
	four := 4
	// 6 bags a pad
	in := jobtest.JobFor(jobtest.GridJob(1, 4, 1.2, 0.9, 0.075, false, 1, 0, 0), jobtest.Weather(6, 20, 1,
		jobtest.Mild, jobtest.Dry), 5)
	in.Spec.Stock.BagsOnHand = &four
	in.Spec.Stock.Deliveries = []pour.Delivery{{Date: jobtest.Begin.AddDays(1), Bags: 8}}
	hold := func(what string, pads int) {
		t.Helper()
		p := mustMake(t, in)
		n := 0
		for _, x := range p.Plan.Pours {
			n += len(x.Pads)
		}
		if n != pads || len(p.Plan.Unplaced) != 4-pads {
			t.Fatalf("%s: %d pads are planned, %d not", what, n, len(p.Plan.Unplaced))
		}
		if f := p.Plan.Finish; f.Likely != nil || f.NineInTen != nil {
			t.Errorf("%s: an end is told: %v", what, f.Likely)
		}
		for _, u := range p.Plan.Unplaced {
			if !lacks(u.WhyData) {
				t.Errorf("%s: %s", what, u.WhyData)
			}
		}
		if r := p.Mornings[4].ReasonData; !lacks(r) {
			t.Errorf("%s: the last morning's reason is %s", what, r)
		}
	}
	hold("bags for two", 2)

	lost := jobtest.Begin.AddDays(1).At(9*60, jobtest.Zone)
	in.Now, in.Days = lost.Add(12*time.Hour), jobtest.Light(jobtest.Begin.AddDays(1), 6, "05:00", "21:30")
	for i, p := range in.Spec.Pads {
		r := pour.PadRecord{Pad: p.Name, State: pour.Waiting}
		if i == 0 {
			r.State, r.LostAt, r.Losses = pour.Lost, &lost, 1
		}
		in.Records = append(in.Records, r)
	}
	hold("bags for one after a loss", 1)

	in.Spec.Stock.Deliveries = append(in.Spec.Stock.Deliveries, pour.Delivery{Date: jobtest.Begin.AddDays(30),
		Bags: 40})
	if f := mustMake(t, in).Plan.Finish; f.Likely == nil {
		t.Error("no end is told although bags for all pads are ordered")
	}
}

// No end is told before the bags of the last pad can have come, however far
// off that is.
func TestNoEndBeforeTheBags(t *testing.T) {
	four := 4
	in := jobtest.JobFor(jobtest.GridJob(1, 4, 1.2, 0.9, 0.075, false, 1, 0, 0), jobtest.Weather(6, 20, 1,
		jobtest.Mild, jobtest.Dry), 5)
	in.Spec.Stock.BagsOnHand = &four
	for _, away := range []int{3, 30} {
		d := jobtest.Begin.AddDays(away)
		in.Spec.Stock.Deliveries = []pour.Delivery{{Date: jobtest.Begin.AddDays(1), Bags: 8}, {Date: d, Bags: 20}}
		p := mustMake(t, in).Plan
		if f := p.Finish; f.Likely == nil || f.Likely.Before(d) || f.NineInTen != nil && f.NineInTen.Before(d) {
			t.Errorf("a delivery %d days off: the end is told for %v", away, p.Finish.Likely)
		}
		for _, u := range p.Unplaced {
			if away == 30 && u.WhyData.String() != "bags_short_until pad="+u.Pad+" missing=5 date="+d.String() {
				t.Errorf("unplaced: %s", u.WhyData)
			}
		}
	}
}

// The bags that takeoff tells to buy for a plan's pours are enough for that
// plan; with one fewer a pad is left out, and told why.
func TestBagsAsTakeoffTellsThem(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(12, 31))
	enough, lacking := 0, 0
	for range 60 {
		in := anyJob(r)
		in.Spec.Stock.BagsOnHand, in.Spec.Stock.Deliveries = nil, nil
		free := mustMake(t, in)
		need := 0
		for _, x := range free.Plan.Pours {
			need += x.Bags
		}
		if len(free.Plan.Unplaced) > 0 || need == 0 {
			continue
		}
		at := in.Now
		in.Spec.Stock.BagsOnHand, in.Spec.Stock.CountedAt = &need, &at
		held := mustMake(t, in)
		if len(held.Plan.Unplaced) > 0 || len(held.Plan.Pours) != len(free.Plan.Pours) {
			t.Fatalf("%d bags, as told: %+v", need, held.Plan.Unplaced)
		}
		if faults := check.Plan(situation(t, &in), timed(held)); len(faults) > 0 {
			t.Fatal(faults)
		}
		enough++
		need--
		short := mustMake(t, in)
		if faults := check.Plan(situation(t, &in), timed(short)); len(faults) > 0 {
			t.Fatal(faults)
		}
		if len(short.Plan.Unplaced) == 0 {
			continue // another spread of the pads wastes less
		}
		lacking++
		if f := short.Plan.Finish; f.Likely != nil {
			t.Errorf("an end is told with a bag too few: %v", *f.Likely)
		}
		if w := short.Plan.Unplaced; !slices.ContainsFunc(w, func(u pour.Unplaced) bool { return lacks(u.WhyData) }) {
			t.Errorf("with %d bags: %+v", need, w)
		}
	}
	if enough < 15 || lacking < 10 {
		t.Errorf("%d plans with enough, %d with too few: too few to tell", enough, lacking)
	}
}

func lacks(m message.Message) bool { return m.Code == job.BagsShort || m.Code == job.BagsShortUntil }

// Where bags are scarce the pads that take the fewest go first.
func TestScarceBagsGoToSmallPads(t *testing.T) {
	in := jobtest.JobFor(jobtest.GridJob(1, 4, 1.2, 0.9, 0.075, false, 1, 0, 0), jobtest.Weather(6, 20, 1,
		jobtest.Mild, jobtest.Dry), 5)
	in.Spec.Pads[3].LengthM = 0.5 // 2.2 bags
	four := 4
	in.Spec.Stock.BagsOnHand = &four
	p := mustMake(t, in).Plan
	if len(p.Pours) != 1 || !slices.Equal(p.Pours[0].Pads, []string{"A4"}) || len(p.Unplaced) != 3 {
		t.Fatalf("planned %+v, not %+v", p.Pours, p.Unplaced)
	}
	for _, u := range p.Unplaced {
		if u.WhyData.String() != "bags_short pad="+u.Pad+" missing=5" {
			t.Errorf("unplaced: %s", u.WhyData)
		}
	}
}

// A count holds from when it was made: what was placed or delivered before is
// in it, what comes after is taken off or added; bags logged with a pad are
// those that it took.
func TestBagsCountFromTheirCount(t *testing.T) {
	in := jobtest.JobFor(jobtest.GridJob(1, 4, 1.2, 0.9, 0.075, false, 1, 0, 0), jobtest.Weather(8, 20, 1,
		jobtest.Mild, jobtest.Dry), 5)
	in.Now, in.Days = jobtest.Begin.AddDays(1).At(19*60, jobtest.Zone), jobtest.Light(jobtest.Begin.AddDays(1), 6,
		"05:00", "21:30")
	placed, five := jobtest.Begin.AddDays(1).At(8*60, jobtest.Zone), 5.0
	lost := placed.Add(3 * time.Hour)
	in.Records = []pour.PadRecord{
		{Pad: "A1", State: pour.Finished, PlacedAt: &placed, FinishedAt: &lost, Castings: []pour.Casting{{At: placed,
			Bags: &five}}},
		{Pad: "A2", State: pour.Lost, LostAt: &lost, Losses: 1, Castings: []pour.Casting{{At: placed.Add(time.Hour)}}},
		{Pad: "A3", State: pour.Waiting}, {Pad: "A4", State: pour.Waiting}}
	in.Spec.Stock.Deliveries = []pour.Delivery{{Date: jobtest.Begin.AddDays(1), Bags: 3}}
	for _, c := range []struct {
		what    string
		counted *time.Time
		there   int // of 20 counted
	}{
		{"from the beginning", nil, 20 + 3 - 5 - 6},
		{"before the day's work", ptr(jobtest.Begin.AddDays(1).At(0, jobtest.Zone)), 20 + 3 - 5 - 6},
		{"between the two pads", ptr(placed.Add(30 * time.Minute)), 20 - 6},
		{"this evening", ptr(in.Now), 20},
	} {
		n := 20
		in.Spec.Stock.BagsOnHand, in.Spec.Stock.CountedAt = &n, c.counted
		f, err := policy.Prepare(t.Context(), &in)
		if err != nil {
			t.Fatal(err)
		}
		if got := f.BagsBy(jobtest.Begin.AddDays(2)); got != c.there {
			t.Errorf("counted %s: %d bags, want %d", c.what, got, c.there)
		}
		p := mustMake(t, in).Plan
		left, pads := c.there, 0
		for _, x := range p.Pours {
			left, pads = left-x.Bags, pads+len(x.Pads)
		}
		if left < 0 || pads < min(3, c.there/6) {
			t.Errorf("counted %s: %d pads are planned and %d bags are left", c.what, pads, left)
		}
		// What takeoff calls short is what the planner leaves out.
		short := takeoff.Of(takeoff.Job{Spec: in.Spec, Records: in.Records, Pours: p.Pours,
			Zone: jobtest.Zone}).Project.BagsShort
		if (short > 0) != (len(p.Unplaced) > 0) {
			t.Errorf("counted %s: %d bags short by takeoff, %d pads not placed", c.what, short, len(p.Unplaced))
		}
	}
}

func ptr[T any](v T) *T { return &v }
