package emulate

import (
	"math"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"

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
					if x := s.RainMM[s.Index(sc.Start)+h]; w.RainMM[h] != x &&
						!(math.IsNaN(x) && math.IsNaN(w.RainMM[h])) {
						t.Fatalf("member %d: past hour %d is %v mm, was %v", m, h, w.RainMM[h], x)
					}
				}
				for h := now; h < sc.Hours; h++ {
					for name, v := range map[string][]float64{"rain": w.RainMM, "air": w.AirC,
						"humidity": w.HumidityPct,
						"wind":     w.WindMS, "cloud": w.CloudPct, "sun": w.ShortwaveWM2} {
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
				for _, n := range s.season[d] {
					o, k := s.peer(n)
					apart := s.DayOfYear(d) - o.DayOfYear(k)
					if apart < 0 {
						apart = -apart
					}
					if o.Date(k) == s.Date(d) || !o.Whole(k) || min(apart, 365-apart) > seasonDays+1 {
						t.Fatalf("%s: %s of %s stands in for %s", s.Station, o.Date(k), o.Station, s.Date(d))
					}
				}
			}
		}
	}
}

// One walk per date: the difference of two runs does not depend on what the
// newer of them says; both have the noise of their lead, mostly in common with
// their neighbours.
func TestNewerRunsHoldAllThatOlderOnesKnew(t *testing.T) {
	r := mustRegions(t)[0]
	newRun, oldRun := runOf(eveningLeadH), runOf(eveningLeadH+48)
	var newer, step, both, wantNew, wantStep, n float64
	var together, pairs float64
	for _, s := range r.Stations {
		o := r.Stations[0]
		for d := range s.Days() {
			if !s.Whole(d) || !o.Whole(d) {
				continue
			}
			zero, none := *s, *o // without rain only the noise is left
			zero.desc, none.desc = make(
				[][2*longestShift + 1]description,
				s.Days(),
			), make(
				[][2*longestShift + 1]description,
				o.Days(),
			)
			a, _ := zero.signal(&r.Noise, d, newRun)
			b, _ := zero.signal(&r.Noise, d, oldRun)
			near, _ := none.signal(&r.Noise, d, newRun)
			is, was := s.sigma(&r.Noise, d, oldRun), s.sigma(&r.Noise, d, newRun)
			for i := range a {
				x, y := a[i]/was[i], b[i]-a[i]
				newer, step, both, n = newer+x*x, step+y*y, both+x*y, n+1
				wantNew, wantStep = wantNew+1, wantStep+is[i]*is[i]-was[i]*was[i]
				if s != o {
					together, pairs = together+x*near[i]/o.sigma(&r.Noise, d, newRun)[i], pairs+1
				}
			}
		}
	}
	if c := both / math.Sqrt(newer*step); math.Abs(c) > 0.05 {
		t.Errorf("noise of the newer run and the older run's further noise correlate by %.3f", c)
	}
	if math.Abs(newer/wantNew-1) > 0.08 || math.Abs(step/wantStep-1) > 0.08 {
		t.Errorf("variances are %.3f and %.3f of what they should be", newer/wantNew, step/wantStep)
	}
	if c := together / pairs; math.Abs(c-sharedNoise) > 0.05 {
		t.Errorf("noise of two stations correlates by %.3f, want %.2f", c, sharedNoise)
	}
}

// Rain is foreseen at other hours than it falls in, the less the nearer it is.
func TestRainIsDisplaced(t *testing.T) {
	r := mustRegions(t)[0]
	quiet := Noise{} // nothing but the displacement
	for _, x := range []struct{ lead, least, most float64 }{{0, 0.3, 1.5}, {eveningLeadH, 1.2, 2.6},
		{eveningLeadH + 48, 3, 4.6}} {
		sq, n := 0.0, 0.0
		s := r.Stations[0]
		for d := 1; d < s.Days()-1; d++ {
			f, _ := s.signal(&quiet, d, runOf(x.lead))
			best, least := 0, math.Inf(1)
			for k, z := range s.desc[d] {
				off := 0.0
				for b := range z {
					off += math.Abs(z[b] - f[b])
				}
				if off < least-1e-9 {
					best, least = k, off
				}
			}
			if s.damp[d] && s.Whole(d) && s.desc[d][0] != s.desc[d][2*longestShift] {
				sq, n = sq+float64((best-longestShift)*(best-longestShift)), n+1
			}
		}
		if sd := math.Sqrt(sq / n); sd < x.least || sd > x.most {
			t.Errorf("%v h ahead rain is displaced by %.2f h, want %v to %v", x.lead, sd, x.least, x.most)
		}
	}
}

// The forecast goes on learning through the day: with every update the chance
// of the afternoon's rain comes nearer to what happens.
func TestUpdatesThroughTheDayHelp(t *testing.T) {
	for _, r := range mustRegions(t) {
		var brier [3]float64
		for _, x := range append(sampleDays(r.Stations, false), sampleDays(r.Stations, true)...) {
			midnight := x.s.first.Add(time.Duration(x.d) * dayHours * time.Hour)
			for i, hour := range []int{-5, 5, 12} {
				p, wet := 0.0, 0.0
				for _, a := range x.s.Analogues(&r.Noise, midnight.Add(time.Duration(hour)*time.Hour), x.d) {
					if a.Rain(14)+a.Rain(15)+a.Rain(16)+a.Rain(17) >= dampMM {
						p += a.Weight
					}
				}
				a := x.s.hourOfDay(x.d)
				if x.s.RainMM[a+14]+x.s.RainMM[a+15]+x.s.RainMM[a+16]+x.s.RainMM[a+17] >= dampMM {
					wet = 1
				}
				brier[i] += (p - wet) * (p - wet)
			}
		}
		if !(brier[0] > brier[1] && brier[1] > brier[2]) {
			t.Errorf(
				"%s: Brier scores %.1f the evening before, %.1f at 05:00, %.1f at noon",
				r.Name,
				brier[0],
				brier[1],
				brier[2],
			)
		}
	}
}

// A run's amount says something of the amount that comes.
func TestAmountsAreInformative(t *testing.T) {
	for _, r := range mustRegions(t) {
		var x, y []float64
		for _, k := range sampleDays(r.Stations, false) {
			f, ok := k.s.Run(&r.Noise, k.s.Evening(k.d-1), 1)
			if !ok {
				continue
			}
			foreseen, came := 0.0, 0.0
			for h := range f.Hours {
				foreseen += f.Hours[h].Values[forecast.RainMM].V
				came += k.s.RainMM[k.s.hourOfDay(k.d)+h]
			}
			if came >= dampMM {
				x, y = append(x, math.Log1p(foreseen/dampMM)), append(y, math.Log1p(came/dampMM))
			}
		}
		if c := stat.Correlation(x, y, nil); c < 0.25 || c > 0.85 {
			t.Errorf("%s: amounts of wet days correlate by %.2f with what was foreseen", r.Name, c)
		} else {
			t.Logf("%s: amounts of wet days correlate by %.2f with what was foreseen", r.Name, c)
		}
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
