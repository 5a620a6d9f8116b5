package projects_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/postgres"
	"dryslot/internal/pour"
	"dryslot/internal/projects"
)

func (w *world) record(p pour.Project, e pour.LogEntry) projects.Recorded {
	w.t.Helper()
	got, err := w.Record(context.Background(), w.account, p.ID, e)
	if err != nil {
		w.t.Fatal(err)
	}
	return got
}

func mm(v float64) *float64 { return &v }

// Rain classes as the planning defines them: 0.25, 2.5 and 7.6 mm in an hour
// (judgement, after the AMS Glossary's classes of rain).
func TestRainOnConcreteIsJudgedByHowMuchAndHowFarItHadSet(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		after   time.Duration // of placing
		rain    *float64
		minutes *float64
		finish  bool
		harm    *float64
		lost    bool
		inspect bool
		why     string
	}{
		{"heavy on soft", time.Hour, mm(4), mm(30), false, nil, true, false, "nitial set at about"},
		{"heavy, nobody knows how long", time.Hour, mm(4), nil, false, nil, false, true,
			"most of it came within one hour"},
		{"the least that spoils", time.Hour, mm(2.5), mm(60), false, nil, true, false, "2.5\u00a0mm or more"},
		{"light on soft", time.Hour, mm(1), nil, false, nil, false, true, "a washed surface is lost"},
		{"light on soft, finished", 2 * time.Hour, mm(1), nil, true, nil, false, true, "nitial set at about"},
		{"a few drops", time.Hour, mm(0.1), nil, false, nil, false, false, "too little"},
		{"nobody knows how much", time.Hour, nil, nil, false, nil, false, true, "not known"},
		{"spread over three hours", time.Hour, mm(6), mm(180), false, nil, false, true,
			"most of it came within one hour"},
		{"a drizzle that may have been a shower", time.Hour, mm(1.2), mm(360), false, nil, false, true,
			"nitial set at about"},
		{"more than the builder thinks it bears", time.Hour, mm(1), mm(20), false, mm(0.8), true, false,
			"0.8\u00a0mm or more"},
		{"less than the builder thinks it bears", time.Hour, mm(4), nil, false, mm(5), false, true,
			"nitial set at about"},
		{"set long ago", 30 * time.Hour, mm(20), nil, false, nil, false, false, "No harm"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			p := w.project()
			if c.harm != nil {
				spec := p.Spec
				spec.Limits.Harm = c.harm
				var err error
				if p, err = w.ChangeProject(context.Background(), w.account, p.ID, p.Revision, spec); err != nil {
					t.Fatal(err)
				}
			}
			w.weather(p)
			placed := w.clock().Add(-2 * time.Minute)
			w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: placed})
			w.later(c.after)
			if c.minutes != nil { // rain is logged once it has fallen
				w.later(time.Duration(*c.minutes) * time.Minute)
			}
			if c.finish {
				w.record(p, pour.LogEntry{Kind: pour.EntryFinished, Pad: "A", At: placed.Add(c.after - 10*time.Minute)})
			}
			got := w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, Pad: "A", At: placed.Add(c.after),
				RainMM: c.rain, Minutes: c.minutes})
			if len(got.Entry.Effects) != 1 || !strings.Contains(got.Entry.Effects[0].Why, c.why) {
				t.Fatalf("effects %+v", got.Entry.Effects)
			}
			if len(got.Changes) == 0 || got.Changes[0].Figures.Get("pad").String() != "A" {
				t.Errorf("changes %q", got.Changes)
			}
			_, records := w.current(p)
			if r := records[0]; (r.State == pour.Lost) != c.lost || (r.Inspect != "") != c.inspect {
				t.Errorf("A is %s, inspect %q: %s", r.State, r.Inspect, got.Entry.Effects[0].Why)
			}
			if planned := strings.Contains(padsOf(got.Plan), " A "); planned != c.lost {
				t.Errorf("planned again: %v; plan %s", planned, padsOf(got.Plan))
			}
		})
	}
}

func padsOf(p pour.Plan) string {
	s := " "
	for _, x := range p.Pours {
		s += strings.Join(x.Pads, " ") + " "
	}
	return s
}

// A mix that the log shows to set late is soft for longer when it rains, too.
func TestRainIsJudgedByTheSettingThatTheLogTeaches(t *testing.T) {
	t.Parallel()
	why := func(finishedAfter time.Duration) string {
		w := newWorld(t)
		p := w.project()
		w.at(10, 20, 0)
		w.weather(p)
		w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock().Add(-13 * time.Hour)})
		w.record(p, pour.LogEntry{Kind: pour.EntryFinished, Pad: "A", At: w.clock().Add(finishedAfter - 13*time.Hour),
			Minutes: mm(12)})
		w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "B", At: w.clock().Add(-11 * time.Hour)})
		got := w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, Pad: "B", At: w.clock().Add(-10 * time.Hour),
			RainMM: mm(1)})
		_, at, ok := strings.Cut(got.Entry.Effects[0].Why, "Initial set at about ")
		if !ok {
			t.Fatalf("effects %+v", got.Entry.Effects)
		}
		return at[:len("Wed 15:04")]
	}
	if usual, late := why(4*time.Hour), why(12*time.Hour); late <= usual {
		t.Errorf("set is told for %s where the log shows late setting, %s where it shows the usual", late, usual)
	}
}

func TestRainOnTheWholeSiteReachesWhatIsSoftOnly(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock().Add(-40 * time.Hour)})
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "B", At: w.clock().Add(-time.Hour)})
	got := w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, At: w.clock().Add(-30 * time.Minute), RainMM: mm(3),
		Minutes: mm(30)})
	if len(got.Entry.Effects) != 1 || got.Entry.Effects[0].Pad != "B" || got.Entry.Effects[0].State != pour.Lost {
		t.Errorf("effects %+v", got.Entry.Effects)
	}
	if !strings.Contains(padsOf(got.Plan), " B ") || got.Plan.Because != "rain logged" {
		t.Errorf("because %q: %s", got.Plan.Because, padsOf(got.Plan))
	}
}

func TestRainOnConcreteWhoseWeatherIsNotHeldIsJudgedWithCaution(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock().Add(-72 * time.Hour)})
	got := w.record(p, pour.LogEntry{Kind: pour.EntryRainedOn, Pad: "A", At: w.clock().Add(-70 * time.Hour),
		RainMM: mm(3), Minutes: mm(30)})
	if f := got.Entry.Effects; len(f) != 1 || f[0].State != pour.Lost ||
		!strings.Contains(f[0].Why, "by a cautious guess") {
		t.Errorf("effects %+v", f)
	}
}

func TestWhatCannotBeTrueIsRefusedAndLeavesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	for _, e := range []pour.LogEntry{
		{Kind: pour.EntryFinished, At: w.clock()},
		{Kind: pour.EntryPlaced, Pad: "Z", At: w.clock()},
		{Kind: pour.EntryPlaced, Pad: "A", At: w.clock().Add(6 * time.Minute)},
		{Kind: pour.EntryRainedOn, At: w.clock(), RainMM: mm(17), Minutes: mm(23 * 60)},
		{Kind: pour.EntryUndone, At: w.clock(), Entry: "not an id"},
	} {
		if _, err := w.Record(context.Background(), w.account, p.ID, e); !errors.Is(err, fault.Invalid) {
			t.Errorf("%+v: %v", e, err)
		}
	}
	k, records := w.current(p)
	if *k.Plan.Version != 1 || records[0].State != pour.Waiting {
		t.Errorf("version %d, A is %s", *k.Plan.Version, records[0].State)
	}
}

func TestALogEntryAndItsPlanCommitTogether(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.project()
	w.weather(p)
	fell := errors.New("the caller fell")
	err := w.store.InAccount(context.Background(), w.account, func(ctx context.Context, _ *postgres.AccountTx) error {
		w.record2(ctx, p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: "A", At: w.clock()})
		return fell
	})
	if !errors.Is(err, fell) {
		t.Fatal(err)
	}
	if k, records := w.current(p); *k.Plan.Version != 1 || records[0].State != pour.Waiting {
		t.Errorf("half of it is kept: version %d, A is %s", *k.Plan.Version, records[0].State)
	}
}

func (w *world) record2(ctx context.Context, p pour.Project, e pour.LogEntry) {
	w.t.Helper()
	if _, err := w.Record(ctx, w.account, p.ID, e); err != nil {
		w.t.Fatal(err)
	}
}

func TestASkippedMorningIsNotPlanned(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	w.at(9, 8, 0)
	p := w.project()
	k := w.weather(p)
	if k.Plan.Pours[0].Date.String() != "2026-06-09" {
		t.Fatalf("plan %+v", k.Plan)
	}
	got := w.record(p, pour.LogEntry{Kind: pour.EntrySkipped, At: w.clock(), Text: "the mixer is broken"})
	if len(got.Plan.Pours) == 0 || got.Plan.Pours[0].Date.String() == "2026-06-09" || len(got.Changes) == 0 {
		t.Errorf("plan %+v, changes %q", got.Plan.Pours, got.Changes)
	}
}

func TestAFinishedProjectIsLeftInPeace(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.planned()
	p := w.project()
	w.recipient(p)
	w.weather(p)
	for _, pad := range []string{"A", "B", "C"} {
		w.record(p, pour.LogEntry{Kind: pour.EntryPlaced, Pad: pad, At: w.clock()})
	}
	w.at(9, 19, 0)
	w.look(p)
	if k, _ := w.current(p); k.Plan.State != pour.Done || len(w.alerts(p)) != 0 {
		t.Errorf("state %s, alerts %+v", k.Plan.State, w.alerts(p))
	}
}
