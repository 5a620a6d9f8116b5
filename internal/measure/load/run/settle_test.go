package main

import (
	"context"
	"testing"
	"time"

	"dryslot/internal/postgres/postgrestest"
)

// Accounts are set up beside one another, and many of them watch the same
// cells: none may wait for a cell that waits for it.
func TestAccountsOnTheSameCellsAreSetUpBesideOneAnother(t *testing.T) {
	store := postgrestest.New(t)
	o := options{projects: 4000, cells: 300}
	accounts, err := settle(context.Background(), store, o, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, a := range accounts {
		n += len(a.projects)
	}
	if n != o.projects {
		t.Errorf("%d projects, want %d", n, o.projects)
	}
}

// The order of cells is the same in every account's transactions.
func TestCellsAreTakenInOneOrder(t *testing.T) {
	o := options{projects: 2500, cells: 300}
	seen := 0
	for account := range 3 {
		last := -1
		for _, n := range projectsOf(account, o) {
			if n%o.cells < last {
				t.Fatalf("account %d takes cell %d after cell %d", account, n%o.cells, last)
			}
			last = n % o.cells
			seen++
		}
	}
	if seen != o.projects {
		t.Errorf("%d projects, want %d", seen, o.projects)
	}
}
