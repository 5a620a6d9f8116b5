package today

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/pour"
)

const setUp = 30 * time.Minute

// held is the site with the steps as they stand after what is advised at an instant.
func held(t *testing.T, now time.Time, d Decider, log ...pour.LogEntry) (Given, Now) {
	t.Helper()
	g := site()
	n := g.at(t, now, d, log...)
	g.Steps = HoldBack(g.Steps, n, zone, setUp)
	return g, n
}

// The crew was told at 8:45 to wait until nine: the pad planned at 9:20 is not begun
// then, nor the one planned at 8:40, which was in hand, taken back.
func TestWhoWaitsHasNotBegun(t *testing.T) {
	wait := &canned{do: hourly.Wait, pad: "H3", lost: 0.3}
	g, n := held(t, clock(8, 45), wait)
	if n.Advice.Do != Wait || !n.Advice.Until.Equal(clock(10, 0)) { // H2 is in hand till 9:20
		t.Fatalf("%+v", n.Advice)
	}
	before := site().Steps
	if !reflect.DeepEqual(g.Steps[:2], before[:2]) {
		t.Errorf("what is in hand is not moved: %+v", g.Steps)
	}
	if by := g.Steps[2].PlaceFrom.Sub(before[2].PlaceFrom); !g.Steps[2].PlaceFrom.Equal(clock(10, 15)) ||
		g.Steps[2].PlaceUntil.Sub(before[2].PlaceUntil) != by ||
		g.Steps[2].FinishUntil.Sub(before[2].FinishUntil) != by {
		t.Errorf("H3 waits: %+v", g.Steps[2])
	}
	n = g.at(t, clock(10, 0), wait)
	if p := n.Pads[2]; p.Phase != history.Waiting || n.Advice.Do != Wait || !n.Advice.Until.Equal(clock(11, 0)) {
		t.Errorf("at ten: %s, %+v", p.Phase, n.Advice)
	}
	if slices.ContainsFunc(wait.asked.Placed, func(p Placed) bool { return p.Pad == "H3" }) {
		t.Errorf("asked as if H3 were in hand: %+v", wait.asked)
	}
	n = g.at(t, clock(10, 20), &canned{do: hourly.Place, pad: "H3"}) // told at ten to go on
	if n.Day != UnderWay || len(n.Pads) != 3 || n.Pads[2].PlacedAt != nil {
		t.Errorf("%+v", n.Pads[2])
	}
	if n = g.at(t, clock(11, 0), &canned{do: hourly.Stop}); !n.Pads[2].Assumed || n.Pads[2].Phase != history.Soft {
		t.Errorf("placed by 10:55, as nobody says otherwise: %+v", n.Pads[2])
	}
}

func TestWhoBeginsLaterHasNotSetUp(t *testing.T) {
	later := &canned{do: hourly.Wait, pad: "H1", lost: 0.3}
	g, n := held(t, clock(7, 0), later)
	if n.Advice.Do != StartLater || !n.Advice.Until.Equal(clock(8, 0)) {
		t.Fatalf("%+v", n.Advice)
	}
	for i, s := range g.Steps {
		if by := s.PlaceFrom.Sub(site().Steps[i].PlaceFrom); by != 45*time.Minute {
			t.Errorf("%s comes %s later", s.Pad, by)
		}
	}
	if n = g.at(t, clock(8, 0), &canned{do: hourly.Place, pad: "H1"}); n.Day != Planned ||
		n.Advice.Why.Code != NowBegins || !n.Advice.Until.Equal(clock(8, 15)) {
		t.Errorf("%s, %+v", n.Day, n.Advice)
	}
}

func TestWhoStopsBeginsNothing(t *testing.T) {
	stop := &canned{do: hourly.Stop}
	g, n := held(t, clock(8, 45), stop)
	for at := clock(9, 0); at.Before(clock(16, 0)); at = at.Add(15 * time.Minute) {
		n = g.at(t, at, stop)
		if p := n.Pads[2]; n.Advice.Do != Stop || p.Phase != history.Waiting || p.Assumed {
			t.Fatalf("%s: %+v, %+v", at, n.Advice, p)
		}
		g.Steps = HoldBack(g.Steps, n, zone, setUp)
	}
	if got := HoldBack(g.Steps, n, zone, setUp); !reflect.DeepEqual(got, g.Steps) {
		t.Errorf("asked twice, it is moved twice: %+v", got)
	}
	n.At, n.Advice.RecheckAt = clock(23, 40), clock(23, 55)
	g.Steps[2].PlaceFrom = clock(23, 45)
	if got := HoldBack(g.Steps, n, zone, setUp); len(got) != 2 {
		t.Errorf("the next date's plan says when: %+v", got)
	}
}

// In rain that is seen, and where the crew is to go on, the steps stay.
func TestOtherAdviceHoldsNothingBack(t *testing.T) {
	for _, x := range [...]struct {
		do  hourly.Action
		log []pour.LogEntry
	}{{do: hourly.Place}, {hourly.Wait, []pour.LogEntry{tap(pour.EntryRainBegan, clock(8, 44))}}} {
		if g, n := held(t, clock(8, 45), &canned{do: x.do, pad: "H3", lost: 0.3}, x.log...); !reflect.DeepEqual(g.Steps,
			site().Steps) {
			t.Errorf("%+v: %+v", n.Advice, g.Steps)
		}
	}
}

// Plastic for two lies on two pads: to cover a third is not asked for, rain or not,
// and what else there is to do is said.
func TestACoverThatIsNotThereIsNotAskedFor(t *testing.T) {
	log := []pour.LogEntry{tap(pour.EntryPlaced, clock(8, 40), "H1"), tap(pour.EntryPlaced, clock(9, 20), "H2"),
		tap(pour.EntryPlaced, clock(10, 0), "H3")}
	d := &canned{do: hourly.Stop, cover: true, lost: 0.5}
	n := site().at(t, clock(10, 1), d, log...)
	if n.Advice.Do != Cover || !slices.Equal(n.Advice.Pads, []string{"H1", "H2"}) {
		t.Errorf("plastic for two: %+v", n.Advice)
	}
	log = append(log, tap(pour.EntryCovered, clock(10, 5), "H1", "H2"))
	n = site().at(t, clock(10, 6), d, log...)
	if n.Advice.Do == Cover || len(steps(n, Cover)) != 0 {
		t.Errorf("none is left: %+v, %+v", n.Advice, n.Next)
	}
	if len(n.Rain.Reaches) != 3 || n.Rain.Reaches[2].Chance != 0.5 {
		t.Errorf("that rain threatens H3 is not said: %+v", n.Rain)
	}
}

// H1 and H2 are cells of one gang form, placed in one go over midnight: they are
// stripped together, as the plan has it.
func TestAGangFormFilledOverMidnightIsStrippedAtOnce(t *testing.T) {
	g := site()
	g.Steps = nil // nothing is assumed
	set := "gang"
	g.Spec.FormSets = []pour.FormSet{{Name: set, Count: 2, Cells: 2}}
	g.Spec.Pads[0].FormSet, g.Spec.Pads[1].FormSet = &set, &set
	plain := g.Slab
	g.Slab = func(pad string, placed time.Time) (Slab, bool) {
		s, ok := plain(pad, placed)
		s.PlacedFrom = placed.Add(-40 * time.Minute)
		return s, ok
	}
	log := []pour.LogEntry{tap(pour.EntryPlaced, clock(23, 45), "H1"), tap(pour.EntryPlaced, clock(24, 25), "H2")}
	n := g.at(t, clock(25, 0), &canned{do: hourly.Stop}, log...)
	for _, x := range n.Next {
		if x.Do == Strip && !x.From.Equal(clock(24+24+6, 0)) { // ready at 20:25, after the crew's hours
			t.Errorf("%v can be stripped from %s", x.Pads, x.From)
		}
	}
	if got := steps(n, Strip); len(got) != 2 {
		t.Errorf("to be stripped: %v", got)
	}
}

// A pad that is ready at night is stripped when the crew begins. One under a blanket is
// stripped when that comes off, unless its form is wanted for a pad of that day.
func TestPadsAreStrippedInTheCrewsHours(t *testing.T) {
	blanket := tap(pour.EntryCovered, clock(18, 0), "H1")
	blanket.Cover = pour.Blanket
	placed := tap(pour.EntryPlaced, clock(8, 40), "H1")
	set := "A"
	for name, c := range map[string]struct {
		log    []pour.LogEntry
		now    time.Time
		wanted bool
		from   time.Time
	}{
		"ready before the crew begins": {[]pour.LogEntry{placed}, clock(22, 0), false, clock(24+6, 0)},
		"ready in the night, now":      {[]pour.LogEntry{placed}, clock(24+5, 0), false, clock(24+6, 0)},
		"in the crew's hours":          {[]pour.LogEntry{placed}, clock(24+7, 0), false, clock(24+7, 0)},
		"in the evening after":         {[]pour.LogEntry{placed}, clock(24+21, 0), false, clock(48+6, 0)},
		"under a blanket":              {[]pour.LogEntry{placed, blanket}, clock(22, 0), false, clock(24+9, 0)},
		"its form is wanted":           {[]pour.LogEntry{placed, blanket}, clock(22, 0), true, clock(24+6, 0)},
	} {
		g := site()
		g.Steps = nil
		ready := g.Slab
		g.Slab = func(pad string, at time.Time) (Slab, bool) {
			s, ok := ready(pad, at)
			s.StripFrom = at.Add(19 * time.Hour)
			return s, ok
		}
		g.Spec.FormSets = []pour.FormSet{{Name: set, Count: 1, Cells: 1}}
		g.Spec.Pads[0].FormSet, g.Spec.Pads[1].FormSet = &set, &set
		if c.wanted {
			g.Steps = []Step{{Pad: "H2", PlaceFrom: clock(24+8, 0), PlaceUntil: clock(24+8, 40)}}
		}
		n := g.at(t, c.now, &canned{do: hourly.Stop}, c.log...)
		i := slices.IndexFunc(n.Next, func(x Next) bool { return x.Do == Strip && x.Pads[0] == "H1" })
		if i < 0 || !n.Next[i].From.Equal(c.from) {
			t.Errorf("%s: want %s in %+v", name, c.from, n.Next)
		}
	}
}
