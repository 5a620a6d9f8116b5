package planner

import (
	"testing"

	"dryslot/internal/pour"
)

// benchJob is a reference job under 31 members, each with its own track, and
// ten mornings.
func benchJob(spec pour.Spec) Job {
	wx := weather(14, 31, 31, func(k, h int) float64 { return mild(k, h) + float64(k%7) - 3 }, showers(5, 0.05))
	return jobFor(spec, wx, 10)
}

func benchmarkReplan(b *testing.B, spec pour.Spec) {
	job := benchJob(spec)
	mustMake(b, job)
	b.ReportAllocs()
	for b.Loop() {
		mustMake(b, job)
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N), "ms/plan")
}

func BenchmarkReplanJ12(b *testing.B) { benchmarkReplan(b, jobJ12()) }
func BenchmarkReplanJ24(b *testing.B) { benchmarkReplan(b, jobJ24()) }
func BenchmarkReplanJ60(b *testing.B) { benchmarkReplan(b, jobJ60()) }

func BenchmarkDecideJ12(b *testing.B) {
	wx := weather(4, 50, 50, func(k, h int) float64 { return mild(k, h) + float64(k%7) - 3 }, showers(5, 0.05))
	job := jobFor(jobJ12(), wx, 3)
	for b.Loop() {
		if _, err := Decide(job); err != nil {
			b.Fatal(err)
		}
	}
}
