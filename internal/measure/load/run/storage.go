package main

import (
	"context"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/postgres"
)

// scale is what the figures are extrapolated to.
const (
	scaleProjects = 100_000
	scaleCells    = 5_000
	scaleCores    = 2
)

// spentOn is what the planning took of the machine beside the workers.
type spentOn struct {
	database time.Duration // CPU of PostgreSQL
	log      int64         // bytes of write-ahead log
	sizes    map[string]int64
}

// before notes where the database stands; the difference is what a run took.
func before(ctx context.Context, store *postgres.Store, postmaster int) (spentOn, error) {
	s, err := store.Storage(ctx)
	return spentOn{databaseCPU(postmaster), s.Log, s.Tables}, err
}

// databaseCPU is what PostgreSQL's processes have taken: those that have ended
// stand in their parent's fields 16 and 17 (proc(5)).
func databaseCPU(postmaster int) time.Duration {
	entries, err := os.ReadDir("/proc")
	if err != nil {
		return 0
	}
	sum, own := 0, strconv.Itoa(postmaster)
	for _, e := range entries {
		b, err := os.ReadFile("/proc/" + e.Name() + "/stat")
		if err != nil {
			continue // it is none, or has ended
		}
		_, rest, _ := strings.Cut(string(b), ") ")
		f := strings.Fields(rest)
		if len(f) < 15 || e.Name() != own && f[1] != own {
			continue
		}
		to := 13
		if e.Name() == own {
			to = 15
		}
		for _, s := range f[11:to] {
			if n, err := strconv.Atoi(s); err == nil {
				sum += n
			}
		}
	}
	return time.Duration(sum) * 10 * time.Millisecond
}

// printSpent writes what each plan took, and what that comes to for many
// projects: planning is work of processors, and two of them share it.
func (r *result) printSpent(was, is spentOn, plans int) {
	if plans == 0 {
		return
	}
	n := float64(plans)
	cpu := (r.cpu + is.database - was.database).Seconds() / n
	fmt.Printf("database_cpu_per_plan: %.1f ms\n", 1000*(is.database-was.database).Seconds()/n)
	fmt.Printf("log_written_per_plan: %.1f kB\n", float64(is.log-was.log)/n/1024)
	for _, table := range []string{"plans", "plan_mornings", "day_steps", "deliveries", "log_entries", "due_projects",
		"ready_answers"} {
		fmt.Printf("size_%s: %.1f kB/project\n", table, float64(is.sizes[table])/n/1024)
	}
	fmt.Printf("all_by_cpu: %.0f min\n", scaleProjects*cpu/scaleCores/60)
	fmt.Printf("a_third_by_cpu: %.0f min\n", scaleProjects*cpu/scaleCores/60/3)
	fmt.Printf("extrapolated_to: %d projects\n", scaleProjects)
	fmt.Printf("extrapolated_cells: %d cells\n", scaleCells)
}
