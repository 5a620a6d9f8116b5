package emulate

import (
	"math"
	"os"
	"testing"
	"time"

	"dryslot/internal/forecast/belief"
)

// After two wet hours rain goes on, and after three dry ones it stays away, about as
// often in the belief as in the records, region by region, on blocks of days that
// nothing was fitted on. The region's own days are not in the library.
func TestRainGoesOnAsOftenAsInTheRecords(t *testing.T) {
	regions, err := Load(os.DirFS("../../../testdata/weather"), zoneOf, "guangzhou", "newyork_2013", "portoalegre_2014")
	if err != nil {
		t.Fatal(err)
	}
	library, err := belief.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range regions {
		lib := library.Without(r.Name)
		for _, raining := range []bool{true, false} {
			n, came, believed := 0.0, 0.0, 0.0
			for _, s := range r.Stations {
				s.eachWorkHour(func(h int) {
					d, hod := (h-s.Midnight(0))/dayHours, (h-s.Midnight(0))%dayHours
					if s.fitted(d) || hod < 6 || hod > 18 {
						return
					}
					seen := belief.Seen{Hour: 4, Passed: 0.5, Raining: raining}
					same := s.rains(h) == raining
					for k := range seen.Before {
						seen.Before[k] = s.RainMM[h-1-k]
						same = same && (s.rains(h-1-k) == raining || raining && k > 0)
					}
					if every := map[bool]int{true: 3, false: 29}[raining]; !same || (d+7*hod)%every != 0 {
						return
					}
					at := s.Midday(d).Add(time.Duration(hod-12) * time.Hour)
					sc, ok := r.Scenarios(s, at, Extent{Days: 1, Members: 200, Tracks: 1}, nil)
					if !ok {
						return
					}
					b, err := belief.New(t.Context(), lib,
						belief.Place{Latitude: s.Latitude, Longitude: s.Longitude, WetShare: 0.08}, sc,
						at.Add(-4*time.Hour), 20, belief.Options{})
					if err != nil {
						t.Fatal(err)
					}
					no := belief.NoNowcast()
					for i, w := range b.Posterior(seen, belief.Nowcast{}, &no) {
						if b.Rain[i][5] >= belief.WetMM {
							believed += w
						}
					}
					n++
					if s.rains(h + 1) {
						came++
					}
				})
			}
			share := came / n
			t.Logf("%s, raining %v: wet next in %.3f of %.0f hours, believed %.3f", r.Name, raining, share, n,
				believed/n)
			p := believed / n
			const spells = 0.3 // of the hours: those of a spell, and of stations side by side, are much alike
			if most := 0.03 + 2*math.Sqrt(p*(1-p)/(spells*n)); math.Abs(p-share) > most || n < 20 {
				t.Errorf("%s, raining %v: wet next in %.3f of %.0f hours, believed %.3f", r.Name, raining, share, n,
					believed/n)
			}
		}
	}
}
