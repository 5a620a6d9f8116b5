package projects_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/notify"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// played is a day that is played through: entries come in, forecasts change, and
// every five minutes what is advised and what would be sent is noted.
type played struct {
	*world
	p      pour.Project
	reader say.Reader
	states map[notify.Kind]notify.CauseState
	sent   map[string]*notify.Sendings // by the occasion
	kinds  []notify.Kind               // of all that was sent, in order
	last   string                      // advice
	acted  bool                        // an entry came since the last look
}

// play makes a crew of one with seven pads and plastic for four, on the eve of
// 10 June.
func play(t *testing.T) *played {
	w := newWorld(t)
	w.planned()
	spec := pour.DefaultSpec()
	spec.Name, spec.Latitude, spec.Longitude = "Seven pads", 38.55, -7.90
	spec.Crew.People = 1
	spec.Stock.Covers = []pour.Cover{{Kind: "plastic", Pads: 4}}
	for i := range 7 {
		spec.Pads = append(spec.Pads, pour.Pad{Name: fmt.Sprintf("H%d", i+1), LengthM: 0.9, WidthM: 0.9, ThicknessM: 0.075})
	}
	p, err := w.CreateProject(context.Background(), w.account, spec)
	if err != nil {
		t.Fatal(err)
	}
	d := &played{world: w, p: p, reader: say.HabitsOf("en"), sent: map[string]*notify.Sendings{}}
	d.reader.Zone, d.reader.Today = lisbon(t), unit.Date{Year: 2026, Month: 6, Day: 10}
	w.recipient(p)
	w.at(9, 18, 30)
	w.weather(p)
	w.at(9, 19, 0)
	w.look(p)
	return d
}

func (d *played) note(format string, args ...any) {
	d.t.Logf("%s  %s", d.clock().Format("15:04"), fmt.Sprintf(format, args...))
}

// until lets the day go on, looking at it every five minutes; a forecast comes
// every hour.
func (d *played) until(hour, min int) {
	d.t.Helper()
	end := time.Date(2026, 6, 10, hour, min, 0, 0, lisbon(d.t))
	for d.clock().Before(end) {
		d.later(min2(5*time.Minute, end.Sub(d.clock())))
		if d.clock().Minute() == 0 {
			d.weather(d.p)
		}
		d.look(d.p)
		d.see()
	}
}

func min2(a, b time.Duration) time.Duration {
	if a < b {
		return a
	}
	return b
}

// see asks what to do now, and notes what is new and what is to be sent.
func (d *played) see() today.Now {
	d.t.Helper()
	n := d.today(d.p)
	if said := string(n.Day) + ": " + d.reader.Say(n.Advice.Why); said != d.last {
		d.last = said
		d.note("%s", said)
	}
	live, states := notify.LiveOf(n, d.states, lisbon(d.t))
	d.states = states
	soft := slices.ContainsFunc(n.Pads, func(p history.Pad) bool { return p.Phase == history.Soft })
	for _, x := range live {
		key := notify.OccasionKey(d.p.ID, x.Occasion, "builder")
		told := d.sent[key]
		if told == nil {
			told = &notify.Sendings{}
			d.sent[key] = told
		}
		told.Answered = told.Answered || d.acted && told.Sent > 0
		do := notify.Decide(x.Occasion, *told, notify.Danger{SoftConcrete: soft}, d.p.Alerts, lisbon(d.t), d.clock())
		if do.Do == notify.Send {
			told.Sent++
			told.LastAt = d.clock()
			d.kinds = append(d.kinds, x.Kind)
			var lines []string
			for _, l := range x.Lines {
				lines = append(lines, d.reader.Say(l))
			}
			d.note("-> %s (%s, %d): %s", d.reader.Say(x.Subject), x.Kind, told.Sent, strings.Join(lines, " "))
		}
	}
	d.acted = false
	return n
}

// tap logs an entry of this minute and returns what is advised after it.
func (d *played) tap(kind pour.EntryKind, pads ...string) (string, today.Now) {
	d.t.Helper()
	return d.enter(pour.LogEntry{Kind: kind, Pads: pads, At: d.clock()})
}

func (d *played) enter(e pour.LogEntry) (string, today.Now) {
	d.t.Helper()
	got := d.record(d.p, e)
	d.note("builder: %s %s", e.Kind, strings.Join(e.Pads, ", "))
	d.acted = true
	return got.Entry.ID, d.see()
}

// count is how many alerts of a kind were sent.
func (d *played) count(kind notify.Kind) int {
	n := 0
	for _, k := range d.kinds {
		if k == kind {
			n++
		}
	}
	return n
}

// end tells the day's messages: the service's own by mail, and those of the day.
func (d *played) end(most int) {
	d.t.Helper()
	mails := d.mail.subjects()
	d.note("by mail: %s", strings.Join(mails, " | "))
	d.note("%d messages: %d by mail, %v", len(mails)+len(d.kinds), len(mails), d.kinds)
	if n := len(mails) + len(d.kinds); n > most {
		d.t.Errorf("%d messages, at most %d are wanted", n, most)
	}
}

// morning lets the day begin as planned, up to the first pad, and returns the
// planned placings.
func (d *played) morning() []today.Next {
	d.t.Helper()
	d.later(time.Date(2026, 6, 10, 0, 5, 0, 0, lisbon(d.t)).Sub(d.clock()))
	d.weather(d.p)
	d.look(d.p)
	told := places(d.today(d.p))
	if len(told) < 3 {
		d.t.Fatalf("planned: %+v", told)
	}
	for _, x := range told {
		d.note("planned: place %s %s to %s", x.Pads[0], x.From.In(lisbon(d.t)).Format("15:04"), x.Until.In(lisbon(d.t)).Format("15:04"))
	}
	d.until(6, 0)
	d.tap(pour.EntryStarted)
	return told
}

// Rain at 10:40 that no forecast of the morning showed; it is waited out.
func TestPlayedShowerWaitedOut(t *testing.T) {
	t.Parallel()
	d := play(t)
	told := d.morning()
	for _, x := range told {
		at := x.Until.In(lisbon(t))
		if at.Hour() > 10 || at.Hour() == 10 && at.Minute() >= 40 {
			break
		}
		d.until(at.Hour(), at.Minute())
		d.tap(pour.EntryPlaced, x.Pads...)
	}
	d.until(10, 40)
	_, n := d.tap(pour.EntryRainBegan)
	if n.Advice.Do != today.Cover || n.Advice.Why.Code != today.NowCoverRaining || len(n.Advice.Pads) == 0 {
		t.Errorf("it rains on soft pads: %+v", n.Advice)
	}
	d.until(10, 46)
	_, n = d.enter(pour.LogEntry{Kind: pour.EntryCovered, Pads: n.Advice.Pads, Cover: "plastic", At: d.clock()})
	if n.Advice.Do != today.Wait {
		t.Errorf("covered, in the rain: %+v", n.Advice)
	}
	d.until(11, 20)
	mm := 1.5
	_, n = d.enter(pour.LogEntry{Kind: pour.EntryRainEnded, RainMM: &mm, At: d.clock()})
	if n.Rain.Seen || n.Advice.Do == today.Cover {
		t.Errorf("it is over: %+v", n.Advice)
	}
	for _, p := range n.Pads {
		if p.LostAt != nil {
			t.Errorf("%s was lost under its cover", p.Pad)
		}
	}
	d.until(20, 0)
	if d.count(notify.Rain) == 0 {
		t.Error("nobody was told to cover")
	}
	d.end(8)
}

// A forecast of ten o'clock shows the rain of eleven: what is soft is covered
// before it comes.
func TestPlayedCoverInTime(t *testing.T) {
	t.Parallel()
	d := play(t)
	told := d.morning()
	at := told[0].Until.In(lisbon(t))
	d.until(at.Hour(), at.Minute())
	d.tap(pour.EntryPlaced, told[0].Pads...)
	d.until(9, 50)
	d.feed.set(func(t time.Time) float64 {
		if h := t.In(d.reader.Zone).Hour(); h >= 11 && h < 15 {
			return 6
		}
		return 0
	}, nil)
	d.until(10, 5)
	n := d.see()
	if n.Advice.Do != today.Cover && n.Advice.Do != today.Stop && n.Advice.Do != today.Wait {
		t.Errorf("heavy rain within the hour: %+v", n.Advice)
	}
	d.until(11, 0)
	if d.count(notify.Rain) == 0 {
		t.Errorf("nobody was told to cover before the rain: %v", d.kinds)
	}
	d.end(8)
}

// A dry day with taps, and one pad tapped by mistake and taken back.
func TestPlayedMisTapUndone(t *testing.T) {
	t.Parallel()
	d := play(t)
	told := d.morning()
	at := told[0].Until.In(lisbon(t))
	d.until(at.Hour(), at.Minute())
	d.tap(pour.EntryPlaced, told[0].Pads...)
	d.later(time.Minute)
	id, n := d.tap(pour.EntryPlaced, told[1].Pads...)
	if n.Advice.Do != today.GoOn || slices.Equal(n.Advice.Pads, told[1].Pads) {
		t.Errorf("%+v", n.Advice)
	}
	d.later(time.Minute)
	if _, n = d.enter(pour.LogEntry{Kind: pour.EntryUndone, Entry: id, At: d.clock()}); n.Advice.Do != today.GoOn || len(n.Questions) != 0 {
		t.Errorf("taken back: %+v, asked %+v", n.Advice, n.Questions)
	}
	d.until(20, 0)
	d.end(7)
}

// Nobody taps after the evening before.
func TestPlayedWithoutATap(t *testing.T) {
	t.Parallel()
	d := play(t)
	d.later(time.Date(2026, 6, 10, 0, 5, 0, 0, lisbon(t)).Sub(d.clock()))
	d.weather(d.p)
	told := places(d.today(d.p))
	d.until(20, 0)
	n := d.see()
	for _, x := range told {
		i := slices.IndexFunc(n.Pads, func(p history.Pad) bool { return p.Pad == x.Pads[0] })
		if p := n.Pads[i]; p.PlacedAt == nil || !p.Assumed {
			t.Errorf("%s was planned, and is %s", p.Pad, p.Phase)
		}
	}
	if len(n.Questions) == 0 {
		t.Error("nothing is asked in the evening")
	}
	d.end(4)
}
