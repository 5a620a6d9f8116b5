package today

import (
	"context"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/pour"
)

var zone = time.FixedZone("site", -8*3600)

func clock(hour, min int) time.Time { return time.Date(2026, 11, 28, hour, min, 0, 0, zone) }

// canned decides as it is told to, and keeps what it was asked.
type canned struct {
	do    hourly.Action
	pad   string
	cover bool
	lost  float64
	asked Moment
}

func (c *canned) Decide(_ context.Context, at Moment) (Decision, error) {
	c.asked = at
	return Decision{hourly.Decision{Do: c.do, Lost: c.lost}, c.pad}, nil
}

func (c *canned) Cover(_ context.Context, at Moment) ([]hourly.CoverNow, error) {
	var out []hourly.CoverNow
	for i, p := range at.Placed {
		if !p.Covered {
			out = append(out, hourly.CoverNow{Pad: i, Cover: c.cover, Lost: c.lost})
		}
	}
	return out, nil
}

func (c *canned) Rain(_ context.Context, at Moment, until []time.Time) ([]Hour, []float64, error) {
	reach := make([]float64, len(until))
	for i := range reach {
		reach[i] = c.lost
	}
	return []Hour{{Time: at.Now.Truncate(time.Hour), Chance: c.lost}}, reach, nil
}

// slab sets in 4 and 7 hours, may be finished between 2 and 4, stripped after a day.
func slab(freezes float64) func(string, time.Time) (Slab, bool) {
	return func(_ string, at time.Time) (Slab, bool) {
		h := func(n int) time.Time { return at.Add(time.Duration(n) * time.Hour) }
		return Slab{PlacedFrom: at, InitialSet: h(4), FinalSet: h(7), FinishFrom: h(2), FinishUntil: h(4),
			StripFrom: h(20), CuredBy: h(7 * 24), FrostSafe: h(30), UncoverFrom: h(24), Freezes: freezes}, true
	}
}

// site has three pads, planned at 8:00, 8:40 and 9:20, and plastic for two.
func site() Given {
	spec := pour.DefaultSpec()
	spec.Stock.Covers = []pour.Cover{{Kind: "plastic", Pads: 2}}
	g := Given{Zone: zone, Slab: slab(0), LastLight: clock(17, 0)}
	for i, n := range []string{"H1", "H2", "H3"} {
		spec.Pads = append(spec.Pads, pour.Pad{Name: n, LengthM: 1, WidthM: 1, ThicknessM: 0.075})
		from := clock(8, 0).Add(time.Duration(40*i) * time.Minute)
		g.Steps = append(g.Steps, Step{n, from, from.Add(40 * time.Minute), from.Add(160 * time.Minute),
			from.Add(4 * time.Hour), from.Add(150 * time.Minute)})
	}
	g.Spec = spec
	return g
}

// at replays a log by a minute and answers for it.
func (g Given) at(t testing.TB, now time.Time, d Decider, log ...pour.LogEntry) Now {
	t.Helper()
	for i := range log {
		if log[i].ID == "" {
			log[i].ID = fmt.Sprintf("e%02d", i)
		}
	}
	g.Now, g.Decider = now, d
	g.State = history.Replay(history.Given{Spec: g.Spec, Log: log, Steps: Assumed(g.Steps), Now: now, Zone: zone,
		Rain: history.RainLimits{TellsMM: 0.25, SpoilsMM: 2.5, MarksMM: 7.6},
		SetTime: func(pad string, at time.Time) pour.SetTime {
			return pour.SetTime{Pad: pad, InitialMin: 240, FinalMin: 420, Known: true}
		}})
	out, err := Of(context.Background(), g)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func tap(kind pour.EntryKind, at time.Time, pads ...string) pour.LogEntry {
	return pour.LogEntry{Kind: kind, At: at, Pads: pads}
}

func steps(n Now, do Do) (out []string) {
	for _, x := range n.Next {
		if x.Do == do {
			out = append(out, x.Pads...)
		}
	}
	return out
}

func TestTheEarlyMorningSaysWhenTheDayBegins(t *testing.T) {
	d := &canned{do: hourly.Place, pad: "H1"}
	n := site().at(t, clock(4, 0), d)
	if n.Day != Planned || n.Advice.Do != None || n.Advice.Why.Code != NowBegins ||
		!n.Advice.Until.Equal(clock(7, 30)) {
		t.Errorf("%s, %+v", n.Day, n.Advice)
	}
	if got := steps(n, Place); !slices.Equal(got, []string{"H1", "H2", "H3"}) || n.Next[0].Do != SetUp {
		t.Errorf("next: %+v", n.Next)
	}
	d.do = hourly.Wait
	if n = site().at(t, clock(7, 0), d); n.Advice.Do != None {
		t.Errorf("a wait that saves nothing: %+v", n.Advice)
	}
	d.lost = 0.2
	if n = site().at(t, clock(7, 0), d); n.Advice.Do != StartLater || n.Advice.Until.IsZero() {
		t.Errorf("it had better begin later: %+v", n.Advice)
	}
	if !d.asked.Now.Equal(clock(7, 30)) || d.asked.SetUp {
		t.Errorf("asked of %+v, the planned start was meant", d.asked)
	}
}

// Nobody taps: the steps are taken to have been done when they were planned.
func TestADayWithoutATapGoesByThePlan(t *testing.T) {
	n := site().at(t, clock(8, 45), &canned{do: hourly.Place, pad: "H2"})
	if n.Day != UnderWay || n.Pads[0].Phase != history.Soft || !n.Pads[0].Assumed ||
		n.Pads[1].Phase != history.Waiting {
		t.Errorf("%s, %+v", n.Day, n.Pads[:2])
	}
	if n.Advice.Do != GoOn || !slices.Equal(n.Advice.Pads, []string{"H2"}) {
		t.Errorf("%+v", n.Advice)
	}
	if got := steps(n, Place); !slices.Equal(got, []string{"H2", "H3"}) {
		t.Errorf("to be placed: %v", got)
	}
	if len(n.Questions) != 1 || n.Questions[0].Ask != history.WasPlaced {
		t.Errorf("asked %+v", n.Questions)
	}
	n = site().at(t, clock(20, 0), &canned{do: hourly.Stop})
	if n.Day != Done || n.Advice.Do != None || len(steps(n, Place)) != 0 {
		t.Errorf("in the evening: %s, %+v, %+v", n.Day, n.Advice, n.Next)
	}
	if got := steps(n, Strip); len(got) != 3 {
		t.Errorf("to be stripped tomorrow: %v", got)
	}
}

func TestRainIsAnsweredWithTheCoversThereAre(t *testing.T) {
	log := []pour.LogEntry{tap(pour.EntryStarted, clock(7, 30)), tap(pour.EntryPlaced, clock(8, 40), "H1"),
		tap(pour.EntryPlaced, clock(9, 20), "H2"), tap(pour.EntryPlacing, clock(9, 25), "H3"),
		tap(pour.EntryRainBegan, clock(9, 40))}
	n := site().at(t, clock(9, 41), &canned{do: hourly.Wait, pad: "H3"}, log...)
	if n.Advice.Do != Cover || n.Advice.Why.Code != NowCoverRaining ||
		!slices.Equal(n.Advice.Pads, []string{"H1", "H2"}) || !n.Rain.Seen {
		t.Errorf("%+v", n.Advice)
	}
	log = append(log, tap(pour.EntryCovered, clock(9, 45), "H1", "H2"))
	if n = site().at(t, clock(9, 46), &canned{do: hourly.Wait}, log...); n.Advice.Do != Wait ||
		n.Advice.Why.Code != NowSoftNoCover {
		t.Errorf("H3 is being placed, without a cover: %+v", n.Advice)
	}
	if got := steps(n, Uncover); len(got) != 0 {
		t.Errorf("to be uncovered in the rain: %v", got)
	}
	log = append(log, tap(pour.EntryRainEnded, clock(10, 15)))
	if n = site().at(t, clock(10, 16), &canned{do: hourly.Place, pad: "H3"}, log...); n.Advice.Do != GoOn {
		t.Errorf("it is over: %+v", n.Advice)
	}
	if got := steps(n, Uncover); !slices.Equal(got, []string{"H1", "H2"}) {
		t.Errorf("to be uncovered: %v", got)
	}
}

func TestSoftPadsAreCoveredWhenThatIsWorthIt(t *testing.T) {
	log := []pour.LogEntry{tap(pour.EntryStarted, clock(7, 30)), tap(pour.EntryPlaced, clock(8, 40), "H1")}
	n := site().at(t, clock(9, 0), &canned{do: hourly.Wait, pad: "H2", cover: true, lost: 0.4}, log...)
	if n.Advice.Do != Cover || !slices.Equal(n.Advice.Pads, []string{"H1"}) || len(n.Rain.Reaches) != 1 ||
		n.Rain.Reaches[0].Chance != 0.4 {
		t.Errorf("%+v, %+v", n.Advice, n.Rain)
	}
	if n = site().at(t, clock(9, 0), &canned{do: hourly.Stop}, log...); n.Advice.Do != Stop ||
		!slices.Equal(n.Advice.Pads, []string{"H3"}) {
		t.Errorf("%+v", n.Advice)
	}
}

func TestFrostAsksForBlanketsBeforeDark(t *testing.T) {
	g := site()
	g.Slab = slab(0.3)
	log := []pour.LogEntry{tap(pour.EntryStarted, clock(7, 30)), tap(pour.EntryPlaced, clock(8, 40), "H1")}
	n := g.at(t, clock(12, 0), &canned{do: hourly.Stop}, log...)
	i := slices.IndexFunc(n.Next, func(x Next) bool { return x.Do == Cover && x.Pads[0] == "H1" })
	if i < 0 || !n.Next[i].From.Equal(clock(15, 40)) || !n.Next[i].Until.Equal(clock(17, 0)) {
		t.Fatalf("%+v", n.Next)
	}
	blanket := tap(pour.EntryCovered, clock(16, 0), "H1")
	blanket.Cover = "blanket"
	if n = g.at(t, clock(16, 1), &canned{do: hourly.Stop}, append(log, blanket)...); slices.Contains(steps(n, Cover),
		"H1") {
		t.Errorf("covered already: %+v", n.Next)
	}
	if got := steps(n, Uncover); !slices.Equal(got, []string{"H1"}) {
		t.Errorf("tomorrow: %v", got)
	}
}

// Weather is held for three days, and a blanket may have to lie as long: it is asked
// for on the first morning after them although the slab can't be followed any more.
func TestABlanketComesOffWhereTheWeatherIsHeldNoMore(t *testing.T) {
	g := site()
	g.Slab = func(string, time.Time) (Slab, bool) { return Slab{}, false }
	blanket := tap(pour.EntryCovered, clock(16, 0), "H1")
	blanket.Cover = pour.Blanket
	log := []pour.LogEntry{tap(pour.EntryPlaced, clock(9, 40), "H1"), blanket}
	for days, want := range map[int][]string{1: nil, 2: nil, 3: {"H1"}, 9: {"H1"}} {
		n := g.at(t, clock(12, 0).AddDate(0, 0, days), &canned{do: hourly.Stop}, log...)
		got := steps(n, Uncover)
		if !slices.Equal(got, want) {
			t.Errorf("after %d days: %v, want %v", days, got, want)
		}
		i := slices.IndexFunc(n.Next, func(x Next) bool { return x.Do == Uncover })
		if days == 3 && i >= 0 && !n.Next[i].From.Equal(clock(9, 0).AddDate(0, 0, 4)) {
			t.Errorf("placed at 9:40, it comes off at %s", n.Next[i].From)
		}
	}
}

// A plan that only the clock has moved leaves what the builder was told; one
// that weather or an entry has moved does not.
// from is a decider that finds covering worth its work from an instant on.
type from struct {
	canned
	at time.Time
}

func (f *from) Cover(ctx context.Context, at Moment) ([]hourly.CoverNow, error) {
	f.cover = !at.Now.Before(f.at)
	return f.canned.Cover(ctx, at)
}

// One person takes 20 minutes to fetch the sheets and cover two pads, and is next
// asked at a quarter: the last look from which that is done by ten is at 9:30.
func TestCoversAreLaidByTheHourOfTheRain(t *testing.T) {
	d := &from{canned{do: hourly.Place, pad: "H3"}, clock(10, 0)}
	log := []pour.LogEntry{tap(pour.EntryPlaced, clock(8, 40), "H1"), tap(pour.EntryPlaced, clock(9, 20), "H2"),
		tap(pour.EntrySkipped, clock(9, 20), "H3")}
	if n := site().at(t, clock(9, 29), d, log...); n.Advice.Do == Cover {
		t.Errorf("at 9:29 there is time: %+v", n.Advice)
	}
	if n := site().at(t, clock(9, 30), d, log...); n.Advice.Do != Cover || len(n.Advice.Pads) != 2 {
		t.Errorf("at 9:30: %+v", n.Advice)
	}
}

func TestFollowKeepsWhatWasTold(t *testing.T) {
	told := site().Steps
	move := func(d time.Duration) (out []Step) {
		for _, s := range told[1:] {
			out = append(out, Step{s.Pad, s.PlaceFrom.Add(d), s.PlaceUntil.Add(d), s.FinishFrom.Add(d),
				s.FinishUntil.Add(d), s.Opens.Add(d)})
		}
		return out
	}
	follow := func(plan []Step, now time.Time, byEntry bool) []Step {
		return Follow(told, plan, now, zone, 30*time.Minute, byEntry)
	}
	if got := follow(move(20*time.Minute), clock(7, 35), false); got[0] != told[1] {
		t.Errorf("the crew sets up: %+v", got)
	}
	if got := follow(move(20*time.Minute), clock(8, 20), false); !reflect.DeepEqual(got, told) {
		t.Errorf("drifted: %+v", got)
	}
	if got := follow(move(3*time.Hour), clock(8, 20), false); len(got) != 3 || got[0] != told[0] ||
		!got[1].PlaceFrom.Equal(clock(11, 40)) {
		t.Errorf("rain has moved it: %+v", got)
	}
	if got := follow(move(20*time.Minute), clock(8, 50), true); len(got) != 3 || !got[1].PlaceFrom.Equal(clock(9, 0)) {
		t.Errorf("an entry has moved it: %+v", got)
	}
	tomorrow := move(24 * time.Hour)
	if got := follow(tomorrow, clock(8, 50), false); len(got) != 3 || got[1] != told[1] || got[2] != tomorrow[1] {
		t.Errorf("the pad in hand is planned for tomorrow: %+v", got)
	}
	if got := follow(nil, clock(8, 50), false); len(got) != 2 {
		t.Errorf("nothing more is poured: %+v", got)
	}
	if got := follow(move(time.Minute), clock(6, 0),
		false); !got[0].PlaceFrom.Equal(told[1].PlaceFrom.Add(time.Minute)) || len(got) != 2 {
		t.Errorf("before the day the plan counts: %+v", got)
	}
}

// Whatever is logged and whenever it is asked: what comes next is in order and
// near, nothing is asked of concrete that it can't bear, and the order in which
// entries arrive changes nothing.
func TestWhatAlwaysHolds(t *testing.T) {
	kinds := []pour.EntryKind{pour.EntryStarted, pour.EntryFormed, pour.EntryPlacing, pour.EntryPlaced,
		pour.EntryFinished, pour.EntryCovered, pour.EntryUncovered, pour.EntryRainBegan, pour.EntryRainEnded,
		pour.EntryRainedOn, pour.EntryStripped, pour.EntryLost, pour.EntrySkipped}
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 12))
		g := site()
		g.Slab = slab(r.Float64() * 0.1)
		var log []pour.LogEntry
		for i := range r.IntN(12) {
			e := tap(kinds[r.IntN(len(kinds))], clock(6, 0).Add(time.Duration(r.IntN(36*60))*time.Minute))
			e.ID = fmt.Sprintf("e%02d", i)
			switch e.Kind {
			case pour.EntryStarted, pour.EntryRainBegan, pour.EntryRainEnded:
			default:
				e.Pads = []string{[]string{"H1", "H2", "H3"}[r.IntN(3)]}
			}
			log = append(log, e)
		}
		d := &canned{do: hourly.Action(r.IntN(3)), pad: "H2", cover: r.IntN(2) == 0, lost: r.Float64()}
		now := clock(6, 0).Add(time.Duration(r.IntN(36*60)) * time.Minute)
		n := g.at(t, now, d, log...)
		other := slices.Clone(log)
		r.Shuffle(len(other), func(i, j int) { other[i], other[j] = other[j], other[i] })
		if m := g.at(t, now, d, other...); !reflect.DeepEqual(n, m) {
			t.Fatalf("seed %d: the order of arrival counts:\n%+v\n%+v", seed, n, m)
		}
		last := time.Time{}
		for _, x := range n.Next {
			if x.From.Before(last) || x.From.After(now.Add(Ahead)) ||
				x.Late != (!x.Until.IsZero() && x.Until.Before(now)) || x.Why.IsZero() {
				t.Fatalf("seed %d: %+v in %+v", seed, x, n.Next)
			}
			last = x.From
			for _, pad := range x.Pads {
				p := n.Pads[slices.IndexFunc(n.Pads, func(p history.Pad) bool { return p.Pad == pad })]
				switch {
				case x.Do == Place && p.PlacedAt != nil, x.Do == Strip && x.From.Before(p.PlacedAt.Add(20*time.Hour)),
					x.Do == Uncover && !p.Covered:
					t.Fatalf("seed %d: %s of a pad that is %s", seed, x.Do, p.Phase)
				}
			}
		}
		for _, pad := range n.Advice.Pads {
			p := n.Pads[slices.IndexFunc(n.Pads, func(p history.Pad) bool { return p.Pad == pad })]
			if n.Advice.Do == Cover && (p.Covered || p.Phase != history.Soft && p.Phase != history.Placing) {
				t.Fatalf("seed %d: cover a pad that is %s", seed, p.Phase)
			}
		}
		if n.Advice.Why.IsZero() || n.Advice.Do == GoOn && n.Rain.Seen {
			t.Fatalf("seed %d: %+v", seed, n.Advice)
		}
	}
}
