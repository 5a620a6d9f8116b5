package emulate

import (
	"math"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"dryslot/internal/forecast"
)

func zoneOf(_, lon float64) (*time.Location, error) {
	if lon < -30 {
		return time.LoadLocation("America/New_York")
	}
	return time.LoadLocation("Europe/Dublin")
}

// regions are the committed records, read once: they are never changed.
var regions = sync.OnceValues(func() ([]*Region, error) {
	return Load(os.DirFS("../../../testdata/weather"), zoneOf, "newyork_2013", "ireland_2017")
})

func mustRegions(t testing.TB) []*Region {
	t.Helper()
	rs, err := regions()
	if err != nil {
		t.Fatal(err)
	}
	return rs
}

// The bounds are what a builder may rely on; all of it on emulated forecasts.
func TestChancesCanBeBelievedOnHeldBackMonths(t *testing.T) {
	for _, r := range mustRegions(t) {
		t.Run(r.Name, func(t *testing.T) {
			every := 2
			if len(r.Stations) > 3 {
				every = 9 // more stations, fewer days: as many pairs
			}
			m := r.Measure(7, every)
			var b strings.Builder
			if err := m.Print(&b); err != nil {
				t.Fatal(err)
			}
			t.Log("\n" + b.String())
			for _, row := range m.Leads {
				if row.Raw.Pairs < 2000 {
					t.Errorf("%d days ahead: only %d pairs", row.Days, row.Raw.Pairs)
				}
				if row.Corrected.Gap > 0.03 {
					t.Errorf("%d days ahead: reliability gap %.4f, above 0.03", row.Days, row.Corrected.Gap)
				}
				if row.Corrected.Skill < row.Raw.Skill-0.02 {
					t.Errorf(
						"%d days ahead: recalibration lowers the skill from %.4f to %.4f",
						row.Days,
						row.Raw.Skill,
						row.Corrected.Skill,
					)
				}
			}
			d := m.Draw
			if d.Forecasts < 200 {
				t.Errorf("pooled over %d forecasts, fewer than 200", d.Forecasts)
			}
			if d.WorstHour > 0.5+1e-9 {
				t.Errorf("an hour's wet members are %.3f off its chance, more than rounding", d.WorstHour)
			}
			if math.Abs(d.Lag1-d.FittedLag1) > 0.05 {
				t.Errorf("a wet hour and the next correlate by %.3f, fitted %.3f", d.Lag1, d.FittedLag1)
			}
			if d.DryWindow.Gap > 0.03 {
				t.Errorf("chance of five dry hours: reliability gap %.4f, above 0.03", d.DryWindow.Gap)
			}
			if d.DryWindow.Skill < 0.2 {
				t.Errorf("chance of five dry hours: skill %.3f says too little to mean anything", d.DryWindow.Skill)
			}
		})
	}
}

// The committed records of package forecast are what this package fits.
func TestForecastKeepsWhatIsFittedHere(t *testing.T) {
	for _, r := range mustRegions(t) {
		if r.Name != "newyork" {
			continue // the other takes six seconds; one shows that the generator was run
		}
		f := FitRecords(r.Stations, &r.Noise)
		for season := range 4 {
			mid := time.Date(2025, time.Month(season*3+1), 15, 0, 0, 0, 0, time.UTC)
			const ordinary = 42*time.Hour + 30*time.Minute // at which leads the kept correlations hold as they are
			if got, want := forecast.Clustering(f.Latitude, mid, ordinary), f.Lag1[season]; math.Abs(got-want) > 0.002 {
				t.Errorf("season %d: kept correlation %.4f, fitted %.4f: run go generate in internal/forecast", season, got, want)
			}
			got := forecast.WetHour(f.Latitude, mid)
			if want := f.Rain[season]; math.Abs(got.Scale-want.Scale) > 0.002 || math.Abs(got.Shape-want.Shape) > 0.002 {
				t.Errorf("season %d: kept amounts %+v, fitted %+v", season, got, want)
			}
		}
	}
}

// The Weibull form against the readings themselves, at the amounts that harm
// follows from.
func TestFittedAmountsMatchTheReadings(t *testing.T) {
	for _, r := range mustRegions(t) {
		step := gaugeStep(r.Stations)
		for season := range 4 {
			_, a := fitAmounts(r.Stations, season, step)
			for _, mm := range []float64{0.5, 2.5, 7.6} {
				wet, over := 0.0, 0.0
				for _, s := range r.Stations {
					for h, x := range s.RainMM {
						if seasonOf(s.Start.Add(time.Duration(h)*time.Hour).Month()) != season || !(x > 0.1+1e-9) {
							continue
						}
						wet++
						if x >= mm {
							over++
						}
					}
				}
				least := step * math.Ceil(0.1/step+1e-6)
				got := a.Exceeds(math.Round(mm/step)*step-step/2, least-step/2)
				if want := over / wet; math.Abs(got-want) > 0.06 || (mm > 5 && math.Abs(got-want) > 0.01) {
					t.Errorf("%s season %d: %.1f mm is reached in %.3f of wet hours, fitted %.3f", r.Name, season, mm, want, got)
				}
			}
		}
	}
}

// The skills are fitted on every other block of 28 days; the other blocks' are
// as good, as far as some hundred days can tell.
func TestSkillsAreReached(t *testing.T) {
	for _, r := range mustRegions(t) {
		for i, want := range Targets {
			if got := r.Reached[i]; math.Abs(got.Skill-want.Skill) > 0.02 {
				t.Errorf("%s at %v h: skill %.3f, want %.3f", r.Name, want.LeadH, got.Skill, want.Skill)
			}
			if got := r.Held[i]; math.Abs(got.Skill-want.Skill) > 0.15 {
				t.Errorf("%s at %v h, other blocks: skill %.3f, want about %.3f", r.Name, want.LeadH, got.Skill, want.Skill)
			}
		}
		for run := 1; run <= lastRun; run++ {
			a, b := r.Stations[0].sigma(&r.Noise, 150, run-1), r.Stations[0].sigma(&r.Noise, 150, run)
			for k := range a {
				if b[k] < a[k] {
					t.Errorf("%s: noise shrinks from run %d to the older run %d", r.Name, run-1, run)
				}
			}
		}
	}
}
