package notify_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/notify"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// sixInTheMorning is when the day of the entries begins.
var sixInTheMorning = time.Date(2026, 11, 5, 6, 0, 0, 0, time.UTC)

func hour(h float64) time.Time { return sixInTheMorning.Add(time.Duration(h * float64(time.Hour))) }

// canned decides by the clock alone: what is decided depends on nothing but the
// state that it is asked for.
type canned struct{}

func (canned) Decide(_ context.Context, at today.Moment) (today.Decision, error) {
	d := today.Decision{Pad: "D"}
	d.Do = hourly.Place
	if len(at.Placed) > 0 {
		d.Do = hourly.Stop
	}
	return d, nil
}

func (canned) Cover(_ context.Context, at today.Moment) (out []hourly.CoverNow, err error) {
	for i := range at.Placed {
		out = append(out, hourly.CoverNow{Pad: i, Cover: at.Now.Hour()%2 == 0, Lost: 0.3, Spared: 0.9})
	}
	return out, nil
}

func (canned) Rain(_ context.Context, at today.Moment, until []time.Time) ([]today.Hour, []float64, error) {
	return []today.Hour{{Time: at.Now, Chance: 0.3, MM: 1}}, make([]float64, len(until)), nil
}

// slab sets within three hours, and freezes in the night.
func slab(_ string, placed time.Time) (today.Slab, bool) {
	after := func(h int) time.Time { return placed.Add(time.Duration(h) * time.Hour) }
	return today.Slab{InitialSet: after(3), FinalSet: after(6), FinishFrom: after(2), FinishUntil: after(4),
		StripFrom: after(20), CuredBy: after(7 * 24), FrostSafe: after(48), Freezes: 0.6}, true
}

// entriesOfTheDay are a day with a mis-tap, a loss, covers and rain, after a day on
// which a pad was placed.
func entriesOfTheDay() []pour.LogEntry {
	entry := func(k pour.EntryKind, h float64, pads ...string) pour.LogEntry {
		return pour.LogEntry{Kind: k, Pads: pads, At: hour(h)}
	}
	all := []pour.LogEntry{
		entry(pour.EntryPlaced, -21, "A"), entry(pour.EntryFinished, -18, "A"),
		entry(pour.EntryStarted, 0.5), entry(pour.EntryFormed, 0.7, "B", "C", "D"), entry(pour.EntryPlacing, 1, "B"),
		entry(pour.EntryPlaced, 2, "B"), entry(pour.EntryPlaced, 2.5, "C"),
		{Kind: pour.EntryUndone, At: hour(2.6), Entry: "e06"}, entry(pour.EntryPlaced, 3.2, "C"),
		entry(pour.EntryRainBegan, 3.6), entry(pour.EntryCovered, 3.7), entry(pour.EntryRainEnded, 4.2),
		entry(pour.EntryUncovered, 4.3), entry(pour.EntryFinished, 4.6, "B"), entry(pour.EntryStripped, 5, "A"),
		entry(pour.EntryLost, 6.2, "C"), entry(pour.EntryPlaced, 7.5, "C"), entry(pour.EntryFinished, 10.2, "C"),
		entry(pour.EntryCovered, 10.4, "B", "C"), entry(pour.EntryNote, 10.5),
	}
	all[18].Cover = "blanket"
	for i := range all {
		all[i].ID = fmt.Sprintf("e%02d", i)
	}
	return all
}

// crew is a project of four pads with plastic for two.
func crew() pour.Spec {
	s := pour.DefaultSpec()
	for _, n := range []string{"A", "B", "C", "D"} {
		s.Pads = append(s.Pads, pour.Pad{Name: n, LengthM: 1, WidthM: 1, ThicknessM: 0.075})
	}
	s.Stock.Covers = []pour.Cover{{Kind: "plastic", Pads: 2}}
	return s
}

// day is one builder's, as the service knows it at an instant.
type day struct {
	t     *testing.T
	given history.Given
	cause map[notify.Kind]notify.CauseState
	sent  map[string]int
}

func newDay(t *testing.T, now time.Time) *day {
	return &day{t: t, sent: map[string]int{}, given: history.Given{Spec: crew(), Now: now, Zone: time.UTC,
		Rain: history.RainLimits{TellsMM: 0.25, SpoilsMM: 2.5, MarksMM: 7.6},
		SetTime: func(string, time.Time) pour.SetTime {
			return pour.SetTime{InitialMin: 180, FinalMin: 360, Known: true}
		}}}
}

// owed are the occasions that hold, and what is to be said of each.
func (d *day) owed() (holding map[notify.Kind]notify.Live, s history.State) {
	d.t.Helper()
	s = history.Replay(d.given)
	now := d.given.Now
	n, err := today.Of(context.Background(), today.Given{Spec: d.given.Spec, State: s, Now: now, Zone: time.UTC,
		Steps:     []today.Step{{Pad: "D", PlaceFrom: hour(5), PlaceUntil: hour(6)}},
		LastLight: hour(11), Slab: slab, Decider: canned{}, ThunderFrom: 0.3,
		Air: []today.Air{{Start: hour(4), GustMS: unit.Some(14)}, {Start: hour(8), Thunder: unit.Some(0.6)}}})
	if err != nil {
		d.t.Fatal(err)
	}
	live, after := notify.Watched{Now: n, Before: d.cause, Crew: d.given.Spec.Crew, Zone: time.UTC}.Live()
	d.cause = after
	holding = map[notify.Kind]notify.Live{}
	for _, x := range live {
		if x.Holds {
			holding[x.Kind] = x
		}
	}
	return holding, s
}

// arrive takes an entry unless it is refused, and sends what is due then.
func (d *day) arrive(e pour.LogEntry) bool {
	if len(history.Check(d.given, e).Refused) > 0 {
		return false
	}
	d.given.Log = append(slices.Clone(d.given.Log), e)
	holding, _ := d.owed()
	for _, x := range holding {
		if d.decide(x).Do == notify.Send {
			d.sent[x.Name()]++
		}
	}
	return true
}

func (d *day) decide(x notify.Live) notify.Decision {
	s := notify.Sendings{Sent: d.sent[x.Name()]}
	if s.Sent > 0 {
		s.LastAt = d.given.Now
	}
	return notify.Decide(x.Occasion, s, notify.Danger{SoftConcrete: true}, d.given.Spec.Alerts, time.UTC, d.given.Now)
}

// The entries of one day arrive in 1,000 random orders, each by a random time of
// that day: the state is the same, and each alert that is owed in the order of
// the day is owed in every other one, with the same words, or was sent already.
// None was sent twice.
func TestAnyOrderOfArrivalOwesTheSameAlerts(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	kinds, refused := map[notify.Kind]int{}, 0
	for range 1000 {
		now := hour(1.5 + 11*rng.Float64())
		var entries []pour.LogEntry
		for _, e := range entriesOfTheDay() {
			if !e.At.After(now) {
				entries = append(entries, e)
			}
		}
		straight := newDay(t, now)
		straight.given.Log = entries
		want, state := straight.owed()
		mixed := newDay(t, now)
		waiting := slices.Clone(entries)
		rng.Shuffle(len(waiting), func(i, j int) { waiting[i], waiting[j] = waiting[j], waiting[i] })
		for before := len(waiting) + 1; len(waiting) > 0 && len(waiting) < before; {
			before = len(waiting)
			waiting = slices.DeleteFunc(waiting, mixed.arrive)
			refused += len(waiting)
		}
		if len(waiting) > 0 {
			t.Fatalf("never taken: %+v", waiting)
		}
		got, gotState := mixed.owed()
		state.Outcomes, gotState.Outcomes = nil, nil // in the order of the log
		if !reflect.DeepEqual(gotState, state) {
			t.Fatalf("got %+v\nwant %+v", gotState, state)
		}
		for kind, x := range want {
			kinds[kind]++
			y, ok := got[kind]
			if !ok || !reflect.DeepEqual(x.Lines, y.Lines) || !reflect.DeepEqual(x.Actions, y.Actions) ||
				!x.UsedBy.Equal(y.UsedBy) {
				t.Fatalf("at %s: owed %+v\nwant %+v", now.Format("15:04"), y, x)
			}
			due := straight.decide(x).Do == notify.Send
			if is := mixed.decide(y).Do == notify.Send || mixed.sent[y.Name()] > 0; is != due {
				t.Fatalf("at %s: %s is due: %t, want %t", now.Format("15:04"), y.Name(), is, due)
			}
		}
		for kind, y := range got {
			// A stop is followed by its resume only where somebody was told of the stop.
			if _, ok := want[kind]; !ok && kind != notify.Resume {
				t.Fatalf("at %s: %+v is owed in one order only", now.Format("15:04"), y)
			}
		}
		for name, n := range mixed.sent {
			if n > 1 {
				t.Fatalf("%s was sent %d times", name, n)
			}
		}
	}
	for _, k := range []notify.Kind{notify.Rain, notify.Stop, notify.Ready, notify.Dusk, notify.Strip, notify.Gust,
		notify.Thunder} {
		if kinds[k] == 0 {
			t.Errorf("no %s was ever owed: %v", k, kinds)
		}
	}
	if refused == 0 {
		t.Error("nothing was ever refused: the orders test too little")
	}
	t.Logf("owed, in 1000 orders: %v", kinds)
}
