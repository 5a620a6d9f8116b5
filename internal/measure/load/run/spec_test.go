package main

import (
	"testing"

	"dryslot/internal/measure/load"
)

// What the run puts into the database directly is what the service would take.
func TestTheProjectsAreValid(t *testing.T) {
	at := load.Cells(1)[0]
	waters := map[float64]bool{}
	for round := range 10 {
		for n := range 2 {
			s := specOf(n, round, at)
			if err := s.Validate(); err != nil {
				t.Errorf("project %d of round %d: %v", n, round, err)
			}
			waters[s.Mix.WaterLPerBag] = true
		}
	}
	if len(waters) != 5 {
		t.Errorf("%d mixes, want the usual one and four others", len(waters))
	}
}
