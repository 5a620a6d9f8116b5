package main

import (
	"context"
	"os"
	"testing"
	"time"
)

// The run starts its provider and its workers as this binary again.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && (os.Args[1] == "worker" || os.Args[1] == "provider") {
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
