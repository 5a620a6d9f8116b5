package projects

import (
	"context"
	"testing"
	"time"

	"dryslot/internal/pour"
)

// Rain on a site of many soft pads is judged by what the log teaches, which is
// learned once and serves the new plan too; a finish teaches anew.
func TestARequestLearnsFromTheLogOnce(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 6, 8, 12, 0, 0, 0, time.UTC)
	spec := pour.DefaultSpec()
	st := &knowledge{now: now, zone: time.UTC, cache: &weatherCache{}}
	for i := range 3 {
		name := string(rune('A' + i))
		spec.Pads = append(spec.Pads, pour.Pad{Name: name, LengthM: 1, WidthM: 1, ThicknessM: 0.1})
		st.log = append(st.log, pour.LogEntry{Kind: pour.EntryPlaced, Pad: name, At: now.Add(-time.Hour)})
	}
	st.project.Spec = spec
	mm := 4.0
	rain := pour.LogEntry{Kind: pour.EntryRainedOn, At: now, RainMM: &mm}
	if _, err := st.follow(context.Background(), &rain); err != nil || len(rain.Effects) != 3 {
		t.Fatalf("effects %+v, %v", rain.Effects, err)
	}
	learned := st.lessons
	if learned == nil {
		t.Fatal("judged without what the log teaches")
	}
	if err := st.enter(context.Background(), rain); err != nil {
		t.Fatal(err)
	}
	if _, _, err := st.corrected(context.Background()); err != nil || st.lessons != learned {
		t.Errorf("learned again from rain: %v", err)
	}
	if err := st.enter(context.Background(), pour.LogEntry{Kind: pour.EntryFinished, Pad: "A", At: now}); err != nil {
		t.Fatal(err)
	}
	if _, _, err := st.corrected(context.Background()); err != nil || st.lessons == learned {
		t.Errorf("a finish taught nothing: %v", err)
	}
}

// A request whose time is up ends at the next casting, and teaches nothing by
// halves.
func TestLearningEndsWithItsRequest(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	st := &knowledge{zone: time.UTC, cache: &weatherCache{}}
	st.project.Spec = pour.DefaultSpec()
	if err := st.replay(ctx); err == nil {
		t.Error("replayed although the request has ended")
	}
	if _, _, err := st.corrected(ctx); err == nil {
		t.Error("learned although the request has ended")
	}
}
