package projects_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/history"
	"dryslot/internal/planner"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

func (w *world) refused(p pour.Project, e pour.LogEntry, path string) {
	w.t.Helper()
	_, err := w.Record(context.Background(), w.account, p.ID, e)
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Invalid || len(f.Fields) == 0 || f.Fields[0].Path != path {
		w.t.Errorf("%s %s: %v, want it refused for its %s", e.Kind, e.Pad, err, path)
	}
}

func questions(asked []history.Question) string {
	var out []string
	for _, q := range asked {
		out = append(out, string(q.Ask)+":"+strings.Join(q.Pads, ","))
	}
	return strings.Join(out, " ")
}

// A mistaken tap is undone by an entry, and both stay in the log.
func TestATapIsUndone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.at(10, 9, 0)
	w.weather(p)
	tap := w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{"A"}, At: w.clock()})
	w.later(time.Minute)
	got := w.record(p, pour.LogEntry{Kind: pour.EntryUndone, Entry: tap.Entry.ID, At: w.clock()})
	if _, records := w.current(p); records[0].State != pour.Waiting || len(w.log(p)) != 2 {
		t.Errorf("A is %s, log %+v", records[0].State, w.log(p))
	}
	if !strings.Contains(padsOf(got.Plan), " A ") {
		t.Errorf("A is not planned again: %s", padsOf(got.Plan))
	}
	w.refused(p, pour.LogEntry{Kind: pour.EntryUndone, Entry: got.Entry.ID, At: w.clock()}, "entry")
}

func TestFormsDoNotComeOffSoftConcrete(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.at(10, 9, 0)
	w.weather(p)
	got := w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{"A", "B"}, At: w.clock()})
	if s := got.Entry.SetTimes; len(s) != 2 || !s[0].Known || s[0].InitialMin < 60 || s[0].FinalMin <= s[0].InitialMin {
		t.Errorf("set times kept: %+v", s)
	}
	w.later(30 * time.Minute)
	w.refused(p, pour.LogEntry{Kind: pour.EntryStripped, Pads: []string{"A"}, At: w.clock()}, "at")
	w.at(11, 9, 0)
	if s := w.record(p, pour.LogEntry{Kind: pour.EntryStripped, Pads: []string{"A", "B"},
		At: w.clock()}); len(s.Questions) != 0 {
		t.Errorf("asked %s", questions(s.Questions))
	}
}

// Rain that lasted nobody knows how long, on a project that owns covers.
func TestUnknownRainDestroysNothingAndIsAskedAbout(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	spec := p.Spec
	spec.Stock.Covers = []pour.Cover{{Kind: "plastic", Pads: 4}}
	p, err := w.ChangeProject(context.Background(), w.account, p.ID, p.Revision, spec)
	if err != nil {
		t.Fatal(err)
	}
	w.at(10, 9, 0)
	w.weather(p)
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{"A", "B", "C"}, At: w.clock().Add(-time.Hour)})
	got := w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, At: w.clock(), RainMM: mm(4)})
	if q := questions(got.Questions); q != "how_much_rain:A,B,C was_covered:A,B,C" {
		t.Errorf("asked %s", q)
	}
	for _, f := range got.Entry.Effects {
		if f.State == pour.Lost || f.Inspect == "" {
			t.Errorf("%+v", f)
		}
	}
	// Covered, as is told later: nothing is lost though it rained hard.
	w.record(p, pour.LogEntry{Kind: pour.EntryUndone, Entry: got.Entry.ID, At: w.clock()})
	w.record(p, pour.LogEntry{Kind: pour.EntryCovered, At: w.clock().Add(-10 * time.Minute), Cover: "plastic"})
	w.later(time.Hour)
	got = w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, At: w.clock().Add(-time.Hour), RainMM: mm(4),
		Minutes: mm(30)})
	for _, f := range got.Entry.Effects {
		if f.Code != string(history.RainSoftCovered) {
			t.Errorf("%+v", f)
		}
	}
}

// shipped has the planner that ships plan, where the crew's day matters.
func (w *world) shipped() {
	w.Plan = planner.Make
}

// News of rain never adds to a day.
func TestRainSeenAddsNothingToToday(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.shipped()
	w.at(10, 6, 0)
	k := w.weather(p)
	if len(k.Plan.Pours) == 0 || k.Plan.Pours[0].Date.String() != "2026-06-10" {
		t.Fatalf("nothing is planned for today: %+v", k.Plan)
	}
	w.record(p, pour.LogEntry{Kind: pour.EntrySkipped, Pads: []string{"C"}, At: w.clock()})
	skip := w.log(p)[0]
	w.at(10, 8, 0)
	rain := w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, At: w.clock()})
	again := w.record(p, pour.LogEntry{Kind: pour.EntryUndone, Entry: skip.ID, At: w.clock()})
	for _, x := range again.Plan.Pours {
		if x.Date == (unit.Date{Year: 2026, Month: 6, Day: 10}) && strings.Contains(strings.Join(x.Pads, " "), "C") {
			t.Errorf("rain at 08:00, and C is added to the day: %+v", x)
		}
	}
	// Without the rain it is.
	dry := w.record(p, pour.LogEntry{Kind: pour.EntryUndone, Entry: rain.Entry.ID, At: w.clock()})
	if first := dry.Plan.Pours[0]; first.Date.String() != "2026-06-10" ||
		!strings.Contains(strings.Join(first.Pads, " "), "C") {
		t.Errorf("the test tests nothing: %+v", first)
	}
}

// Setting up is not charged again once the crew has begun.
func TestSettingUpIsChargedOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.shipped()
	w.at(10, 8, 0)
	w.weather(p)
	got := w.record(p, pour.LogEntry{Kind: pour.EntryStarted, At: w.clock().Add(-30 * time.Minute)})
	if first := got.Plan.Pours[0]; first.Date.String() != "2026-06-10" ||
		first.Start.Add(30*time.Minute).After(w.clock()) {
		t.Errorf("begun, and the day starts at %v", first.Start)
	}
	w.at(10, 9, 0)
	got = w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pads: []string{"A"}, At: w.clock()})
	if first := got.Plan.Pours[0]; first.Date.String() != "2026-06-10" ||
		first.Start.Add(30*time.Minute).After(w.clock()) {
		t.Errorf("one is placed, and the next waits for setting up from %v on", first.Start)
	}
}

// An entry sent again under its id is kept once, and gets the same answer.
func TestAnEntrySentAgainIsKeptOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.at(10, 9, 0)
	w.weather(p)
	e := pour.LogEntry{ID: "0f0e0d0c-0b0a-4908-8706-050403020100", Kind: pour.EntryPlaced, Pads: []string{"A"},
		At: w.clock().Add(2 * time.Minute)}
	one := w.record(p, e)
	w.later(time.Minute)
	two := w.record(p, e)
	if one.Entry.ID != e.ID || !two.Entry.At.Equal(one.Entry.At) || len(w.log(p)) != 1 ||
		*two.Plan.Version != *one.Plan.Version {
		t.Errorf("one %+v\ntwo %+v", one.Entry, two.Entry)
	}
	e.Pads = []string{"B"}
	w.refused(p, e, "id")
}
