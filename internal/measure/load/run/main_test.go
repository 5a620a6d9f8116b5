package main

import (
	"context"
	"os"
	"slices"
	"testing"
	"time"
)

// The run starts its provider and its workers as this binary again.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && (slices.Contains([]string{"worker", "provider", "serve"}, os.Args[1])) {
		main()
		return
	}
	os.Exit(m.Run())
}

// The whole run with few of everything: every cell is fetched once and every
// project is planned, within limits.
func TestTheRunInSmall(t *testing.T) {
	o := options{projects: 30, cells: 10, workers: 2, within: 30 * time.Minute, planning: 30 * time.Minute}
	if err := measure(context.Background(), o); err != nil {
		t.Error(err)
	}
}

// The run of the largest projects with small ones: they are planned, logged and
// asked about, and another account gets its plan.
func TestTheLargestInSmall(t *testing.T) {
	if err := measureLargest(context.Background(), 12, 2); err != nil {
		t.Error(err)
	}
}

// The run of messages about rain with a few projects: each builder is told of it,
// after an entry or after a forecast. How long that takes is not judged.
func TestTheLatencyInSmall(t *testing.T) {
	o := options{projects: 10, cells: 5, workers: 1, underWay: true, short: true, within: 30 * time.Minute,
		planning: 30 * time.Minute}
	if err := measureLatency(context.Background(), o); err != nil {
		t.Error(err)
	}
}

// The run of abuse with a little of everything: all of it is refused or borne, and
// the other account loses nothing.
func TestTheAbuseInSmall(t *testing.T) {
	o := options{projects: 30, cells: 1, workers: 1, abuse: true, short: true}
	if err := measureAbuse(context.Background(), o); err != nil {
		t.Error(err)
	}
}
