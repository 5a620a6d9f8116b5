package emulate

import (
	"math"
	"slices"
	"testing"
	"time"

	"dryslot/internal/forecast"
)

func TestAnIssueKnowsThePastAndNotTheDate(t *testing.T) {
	for _, r := range mustRegions(t) {
		s := r.Stations[0]
		for d := 101; d < 290; d += 27 {
			at := s.Evening(d - 1)
			sc, ok := s.Issue(&r.Noise, at, Extent{Days: 4, Members: 31})
			if !ok {
				t.Fatalf("%s day %d: no forecast", s.Station, d)
			}
			now, in := sc.Index(at)
			if !in || now != pastHours || len(sc.Members) != 31 {
				t.Fatalf("issued at hour %d with %d members", now, len(sc.Members))
			}
			for m, w := range sc.Members {
				for h := range now {
					if x := s.RainMM[s.Index(sc.Start)+h]; w.RainMM[h] != x && !(math.IsNaN(x) && math.IsNaN(w.RainMM[h])) {
						t.Fatalf("member %d: past hour %d is %v mm, was %v", m, h, w.RainMM[h], x)
					}
				}
				for h := now; h < sc.Hours; h++ {
					for name, v := range map[string][]float64{"rain": w.RainMM, "air": w.AirC, "humidity": w.HumidityPct,
						"wind": w.WindMS, "cloud": w.CloudPct, "sun": w.ShortwaveWM2} {
						if math.IsNaN(v[h]) {
							t.Fatalf("member %d hour %d: %s unknown", m, h, name)
						}
					}
				}
			}
			again, _ := s.Issue(&r.Noise, at, Extent{Days: 4, Members: 31})
			for m := range sc.Members {
				if !slices.Equal(sc.Members[m].RainMM[now:], again.Members[m].RainMM[now:]) {
					t.Fatal("the same issue gave different members")
				}
			}
		}
	}
}

func TestADayNeverStandsInForItself(t *testing.T) {
	for _, r := range mustRegions(t) {
		for _, s := range r.Stations {
			for d := range s.season {
				for _, k := range s.season[d] {
					apart := s.DayOfYear(d) - s.DayOfYear(int(k))
					if apart < 0 {
						apart = -apart
					}
					if s.Date(int(k)) == s.Date(d) || !s.Whole(int(k)) || min(apart, 365-apart) > seasonDays+1 {
						t.Fatalf("%s: %s stands in for %s", s.Station, s.Date(int(k)), s.Date(d))
					}
				}
			}
		}
	}
}

// One walk per date: the difference of two runs does not depend on what the
// newer of them says.
func TestNewerRunsHoldAllThatOlderOnesKnew(t *testing.T) {
	r := mustRegions(t)[0]
	var newer, step, both, n float64
	for _, s := range r.Stations {
		for d := range s.Days() {
			if !s.Whole(d) {
				continue
			}
			a, _ := s.signal(&r.Noise, d, 1)
			b, _ := s.signal(&r.Noise, d, 5)
			for i := range a {
				x, y := a[i]-s.desc[d][i], b[i]-a[i]
				newer, step, both, n = newer+x*x, step+y*y, both+x*y, n+1
			}
		}
	}
	if c := both / math.Sqrt(newer*step); math.Abs(c) > 4/math.Sqrt(n) {
		t.Errorf("noise of the newer run and the older run's further noise correlate by %.3f", c)
	}
	if got, want := math.Sqrt(newer/n), r.Noise[1]; math.Abs(got-want) > 0.05*want {
		t.Errorf("noise of run 1 is %.3f, want %.3f", got, want)
	}
	if got, want := math.Sqrt((newer+step)/n), r.Noise[5]; math.Abs(got-want) > 0.05*want {
		t.Errorf("noise of run 5 is %.3f, want %.3f", got, want)
	}
}

func TestAirIsForeseenAsWellAsStated(t *testing.T) {
	for _, r := range mustRegions(t) {
		var sq, spread, n float64
		for _, s := range r.Stations {
			for d := 110; d < 280; d += 9 {
				sc, ok := s.Issue(&r.Noise, s.Evening(d-1), Extent{Days: 1, Members: 40})
				if !ok || !s.Whole(d) {
					continue
				}
				noon, _ := sc.Index(s.first.Add(time.Duration(d)*dayHours*time.Hour + 4*time.Hour))
				truth, mean := 0.0, 0.0
				var each []float64
				for _, w := range sc.Members {
					sum := 0.0
					for h := noon; h < noon+16; h++ { // clear of the hours that pass over into other days
						sum += w.AirC[h] / 16
					}
					each = append(each, sum)
					mean += sum / float64(len(sc.Members))
				}
				for h := s.hourOfDay(d) + 4; h < s.hourOfDay(d)+20; h++ {
					truth += s.AirC[h] / 16
				}
				for _, x := range each {
					spread += (x - mean) * (x - mean) / float64(len(each))
				}
				sq += (truth - mean) * (truth - mean)
				n++
			}
		}
		err, sd := math.Sqrt(sq/n), math.Sqrt(spread/n)
		if err > 2 || sd < 0.5*err || sd > 2*err {
			t.Errorf("%s: air errs by %.2f K with a spread of %.2f K", r.Name, err, sd)
		}
	}
}

func TestTruthIsTheRecord(t *testing.T) {
	s := mustRegions(t)[0].Stations[0]
	w := s.Truth()
	if w.Hours != s.Hours() || len(w.Members) != 1 || w.WetMM != forecast.DefaultWet.OverMM {
		t.Fatalf("truth has %d hours, %d members", w.Hours, len(w.Members))
	}
	for h, sun := range w.Members[0].ShortwaveWM2 {
		if !math.IsNaN(sun) && (sun < 0 || sun > 1100) {
			t.Fatalf("hour %d: sun of %v W/m2", h, sun)
		}
	}
	// Midsummer noon in Ireland: a clear sky gives about 850 W/m2 at a sun
	// height of 60 degrees (Haurwitz's formula itself: 898).
	if got := clearSky(60); math.Abs(got-890) > 10 {
		t.Errorf("clear sky at 60 degrees: %.0f W/m2", got)
	}
}

func BenchmarkIssue(b *testing.B) {
	r := mustRegions(b)[0]
	s := r.Stations[0]
	for b.Loop() {
		if _, ok := s.Issue(&r.Noise, s.Evening(150), Extent{Days: 10, Members: 31}); !ok {
			b.Fatal("no forecast")
		}
	}
}

func TestTracksShareTheirSlices(t *testing.T) {
	r := mustRegions(t)[0]
	s := r.Stations[0]
	sc, ok := s.Issue(&r.Noise, s.Evening(150), Extent{Days: 3, Members: 40, Tracks: 6})
	if !ok || sc.Tracks != 6 || len(sc.Members) != 40 {
		t.Fatalf("%v: %d tracks", ok, sc.Tracks)
	}
	first := map[int]*forecast.Weather{}
	for m := range sc.Members {
		w := &sc.Members[m]
		if o := first[w.Track]; o == nil {
			first[w.Track] = w
		} else if &o.AirC[0] != &w.AirC[0] || &o.RainMM[0] == &w.RainMM[0] {
			t.Fatalf("member %d shares what it should not, or not what it should", m)
		}
	}
	if len(first) != 6 {
		t.Errorf("%d tracks in use", len(first))
	}
}
