package emulate

import (
	"math"
	"testing"
	"time"
)

func TestTheNowcastIsAsReliableAsStated(t *testing.T) {
	for _, r := range mustRegions(t) {
		got, want := r.MeasureNowcast(6), Ordinary()
		t.Logf("%s: %+v", r.Name, got)
		for lead := range want.Detected {
			if math.Abs(got.Detected[lead]-want.Detected[lead]) > 0.03 {
				t.Errorf("%s, lead %d: detects %.3f, stated %.2f", r.Name, lead, got.Detected[lead],
					want.Detected[lead])
			}
			if math.Abs(got.FalseAlarm[lead]-want.FalseAlarm[lead]) > 0.03 {
				t.Errorf("%s, lead %d: false alarms %.3f, stated %.2f", r.Name, lead, got.FalseAlarm[lead],
					want.FalseAlarm[lead])
			}
		}
		if math.Abs(got.Onset-want.Onset) > 0.09 || math.Abs(got.Continuation-want.Continuation) > 0.04 {
			t.Errorf(
				"%s: onset %.3f, continuation %.3f, stated %.2f and %.2f",
				r.Name,
				got.Onset,
				got.Continuation,
				want.Onset,
				want.Continuation,
			)
		}
	}
}

func TestALongerLeadKnowsNoMore(t *testing.T) {
	s := mustRegions(t)[0].Stations[0]
	n := s.Nowcast(OrdinaryNowcast)
	for lead := 1; lead < nowcastLeads; lead++ {
		// Given the shorter lead's word, the longer one's says nothing more of the truth.
		var wet, all [2][2]float64
		s.eachWorkHour(func(h int) {
			i, j := flag(n.said[lead-1][h] != ForeseenDry), flag(n.said[lead][h] != ForeseenDry)
			all[i][j]++
			wet[i][j] += float64(flag(s.rains(h)))
		})
		for i := range all {
			if min(all[i][0], all[i][1]) < 100 {
				continue
			}
			a, b := wet[i][0]/all[i][0], wet[i][1]/all[i][1]
			se := math.Sqrt(a*(1-a)/all[i][0] + b*(1-b)/all[i][1])
			if math.Abs(a-b) > 6*se { // hours are not independent
				t.Errorf("lead %d, shorter lead says %d: %.3f and %.3f of the hours are wet", lead, i, a, b)
			}
		}
	}
}

func TestErrorsOfNeighbouringHoursGoTogether(t *testing.T) {
	var both, one, n float64
	for _, r := range mustRegions(t) {
		for _, s := range r.Stations {
			x := s.Nowcast(OrdinaryNowcast)
			s.eachWorkHour(func(h int) {
				if s.hourClass(h) != wetGoingOn || s.hourClass(h-1) != wetGoingOn {
					return
				}
				a, b := float64(flag(x.said[1][h] == ForeseenDry)), float64(flag(x.said[1][h-1] == ForeseenDry))
				both, one, n = both+a*b, one+a, n+1
			})
		}
	}
	p := one / n
	if c := (both/n - p*p) / (p * (1 - p)); c < 0.2 || c > 0.7 {
		t.Errorf("misses of an hour and the next correlate by %.2f", c)
	}
}

func TestRainThatHasBegunIsKnown(t *testing.T) {
	s := mustRegions(t)[0].Stations[0]
	n, none, perfect := s.Nowcast(OrdinaryNowcast), s.Nowcast(NoNowcast), s.Nowcast(PerfectHour)
	seen := 0
	for h := 1; h < s.Hours()-NowcastHours; h++ {
		at := s.Start.Add(time.Duration(h) * time.Hour)
		if s.rains(h) {
			if !n.At(at.Add(time.Hour - time.Second)).Raining {
				t.Fatalf("hour %d: its rain is not seen by its end", h)
			}
			if s.rains(h-1) && !n.At(at).Raining {
				t.Fatalf("hour %d: rain that goes on is not seen at its start", h)
			}
			seen++
		} else if n.At(at.Add(30 * time.Minute)).Raining {
			t.Fatalf("hour %d: rain is seen in a dry hour", h)
		}
		if x := none.At(at); !x.None || x.Hours != [NowcastHours]Foreseen{} {
			t.Fatalf("hour %d: no nowcast says %+v", h, x)
		}
		if x := perfect.At(at); x.Wet(0) != s.rains(h) || x.Wet(1) != s.rains(h+1) {
			t.Fatalf("hour %d: a perfect nowcast of the next hour errs", h)
		}
	}
	if seen < 100 {
		t.Errorf("only %d wet hours", seen)
	}
}

func flag(b bool) int {
	if b {
		return 1
	}
	return 0
}
