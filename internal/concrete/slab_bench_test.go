package concrete

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"slices"
	"sync"
	"testing"
	"time"
)

// measured gathers figures while benchmarks run, so that they are printed
// last, one `name: value unit` a line.
type measured struct {
	mu    sync.Mutex
	lines []string
}

func (m *measured) note(name string, value float64, unit string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.lines = append(m.lines, fmt.Sprintf("%s: %.4g %s", name, value, unit))
}

var figures measured

func TestMain(m *testing.M) {
	code := m.Run()
	for _, l := range figures.lines {
		fmt.Println(l)
	}
	os.Exit(code)
}

// sevenDays runs a slab for 7 days in steps of ten minutes.
func sevenDays(s *Solver) {
	s.start(1)
	for s.hour < s.placed+168-1e-6 {
		s.step(s.next(stepSetting))
	}
}

// BenchmarkSlab takes the three slabs of testdata/slab through 7 days in steps
// of ten minutes: the time, the memory a step takes, and how much faster that
// is than the fastest run of a general-purpose solver that comes as close, on
// the same nodes, in the same run. It needs Debian's python3-scipy.
func BenchmarkSlab(b *testing.B) {
	refs := references(b)
	b.Run("7days", func(b *testing.B) {
		r := refs["summer sun"]
		var s Solver
		s.open(b, &r.casting, 1)
		b.ReportAllocs()
		var each []float64
		for b.Loop() {
			from := time.Now()
			sevenDays(&s)
			each = append(each, time.Since(from).Seconds())
		}
		ours := median(each)
		b.StopTimer()
		figures.note("slab_7d", 1e6*ours, "us")
		figures.note("slab_allocs_per_step", testing.AllocsPerRun(1, func() { sevenDays(&s) })/1008, "allocs")
		against(b, "summer sun", r, ours)
	})
	b.Run("behave", func(b *testing.B) {
		var s Solver
		var each []float64
		for b.Loop() {
			from := time.Now()
			for _, r := range refs {
				s.Behave(&r.casting)
			}
			each = append(each, time.Since(from).Seconds()/float64(len(refs)))
		}
		figures.note("behave", 1e6*median(each), "us")
	})
}

// median is the middle time: on a busy machine the mean counts the waits too.
// For the same reason the general-purpose solver counts its processor time.
func median(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}

// against measures the general-purpose solver on the same problem.
func against(b *testing.B, name string, r *reference, ours float64) {
	b.Helper()
	args := []string{"../../testdata/slab/generate.py", "time", name}
	if testing.Short() {
		args = append(args, "quick")
	}
	cmd := exec.Command("/usr/bin/python3", args...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		b.Fatalf("the general-purpose solver (python3-scipy) can't be run: %v", err)
	}
	var said struct {
		Reference [][3]float64
		Runs      []struct {
			Method  string
			Tol     float64
			Seconds float64
			ErrorK  float64 `json:"error_k"`
		}
	}
	if err := json.Unmarshal(out, &said); err != nil {
		b.Fatal(err)
	}
	var s Solver
	s.open(b, &r.casting, 1)
	worst := 0.0
	for i, row := range said.Reference {
		for k, t := range s.to(float64(i+1), stepSetting) {
			worst = max(worst, math.Abs(t-row[k]))
		}
	}
	best, at := math.Inf(1), 0.0
	for _, run := range said.Runs {
		if run.ErrorK <= worst && run.Seconds < best {
			best, at = run.Seconds, run.ErrorK
		}
	}
	if math.IsInf(best, 1) {
		b.Fatalf("no run of the general-purpose solver came within %v K", worst)
	}
	figures.note("slab_error", worst, "K")
	figures.note("scipy_error", at, "K")
	figures.note("scipy_7d", 1e3*best, "ms")
	figures.note("slab_vs_scipy", best/ours, "ratio")
}
