package concrete

import "testing"

func BenchmarkSlab7Days(b *testing.B) {
	c := casting(steady(200, 12, 60, 3, 50, 150), 15)
	c.Placed = c.Weather.Start
	var s Solver
	b.ReportAllocs()
	for b.Loop() {
		s.accept(&c)
		s.start(1)
		for range 7 * 24 * 6 {
			s.step(s.next(stepSetting))
		}
	}
}

func BenchmarkBehave(b *testing.B) {
	c := casting(steady(200, 12, 60, 3, 50, 150), 15)
	var s Solver
	b.ReportAllocs()
	for b.Loop() {
		s.Behave(&c)
	}
}
