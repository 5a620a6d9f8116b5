package forecast_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

var weekZero = time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC)

// counted draws pairs hour by hour: a chance of skewed size is stated, and the
// rain comes with what truth makes of it.
func counted(seed uint64, days int, truth func(p float64) float64) (*forecast.Counts, []forecast.Pair) {
	rnd := rand.New(rand.NewPCG(seed, 1))
	c, pairs := &forecast.Counts{}, []forecast.Pair{}
	for h := range days * 24 {
		for band, upTo := range forecast.Leads {
			p := math.Round(math.Pow(rnd.Float64(), 2.5)*forecast.ChanceSteps) / forecast.ChanceSteps
			at := weekZero.Add(time.Duration(h) * time.Hour)
			wet := rnd.Float64() < truth(p)
			c.Add(band, at, byte(math.Round(p*forecast.ChanceSteps)), wet)
			pairs = append(pairs, forecast.Pair{Chance: p, Wet: wet, Lead: upTo, Target: at})
		}
	}
	return c, pairs
}

func right(p float64) float64   { return p }
func drizzle(p float64) float64 { return p * p } // every small chance is stated far too high

func TestCountsScoreAsThePairsDo(t *testing.T) {
	c, pairs := counted(7, 40, drizzle)
	want := forecast.ByLead(pairs, forecast.Leads[:])
	for band := range forecast.Leads {
		got := c.Score(band)
		for _, v := range []struct {
			name      string
			got, want float64
		}{{"pairs", float64(got.Pairs), float64(want[band].Pairs)}, {"brier", got.Brier, want[band].Brier},
			{"climate", got.Climate, want[band].Climate}, {"skill", got.Skill, want[band].Skill},
			{"bias", got.Bias, want[band].Bias}} {
			if math.Abs(v.got-v.want) > 1e-12 {
				t.Errorf("band %d: %s is %v, the pairs' is %v", band, v.name, v.got, v.want)
			}
		}
	}
}

// The bins hold every pair once, and their parts of the bias add up to it.
func TestTheBinsOfABandAreItsPairs(t *testing.T) {
	c, _ := counted(11, 40, drizzle)
	_, reports := forecast.LearnCounts(c, c, false)
	for band, r := range reports {
		pairs, bias, above := 0, 0.0, -1.0
		for _, b := range r.HereBins {
			if b.Chance <= above || b.Pairs == 0 {
				t.Errorf("band %d: bin %+v after one of %v", band, b, above)
			}
			above = b.Chance
			pairs += b.Pairs
			bias += float64(b.Pairs) * (b.Chance - b.Frequency())
		}
		if s := c.Score(band); pairs != s.Pairs || math.Abs(bias/float64(pairs)-s.Bias) > 1e-12 {
			t.Errorf("band %d: %d pairs of %d, bias %v of %v", band, pairs, s.Pairs, bias/float64(pairs), s.Bias)
		}
		if !slices.Equal(r.HereBins, r.AllBins) {
			t.Errorf("band %d: one place is not all places", band)
		}
	}
	if (&forecast.Counts{}).Bins(0) != nil {
		t.Error("bins of nothing")
	}
}

func TestCountsReadBackAndMerge(t *testing.T) {
	a, _ := counted(1, 20, right)
	b, _ := counted(2, 9, drizzle)
	doc, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	var back forecast.Counts
	if err := json.Unmarshal(doc, &back); err != nil {
		t.Fatal(err)
	}
	if back != *a {
		t.Error("counts do not read back as they were")
	}
	sum := *a
	sum.Merge(b)
	other := *b
	other.Merge(a)
	if sum != other {
		t.Error("merging depends on the order")
	}
	if sum.Pairs() != a.Pairs()+b.Pairs() {
		t.Errorf("%d pairs merged from %d and %d", sum.Pairs(), a.Pairs(), b.Pairs())
	}
	for _, bad := range []string{`{"steps":200,"bins":11,"rows":[]}`, `{"steps":100,"bins":12,"rows":[]}`,
		`{"steps":200,"bins":12,"rows":[[6,0,0,1,0,0,0,0]]}`, `{"steps":200,"bins":12,"rows":[[0,0,0,1,2,0,0,0]]}`} {
		if err := json.Unmarshal([]byte(bad), &back); err == nil {
			t.Errorf("%s was read", bad)
		}
	}
}

func FuzzCounts(f *testing.F) {
	c, _ := counted(1, 9, right)
	doc, err := json.Marshal(c)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(doc)
	f.Add([]byte(`{"steps":200,"bins":12,"rows":[[5,1,11,9,9,1800,360000,1800]]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		var c forecast.Counts
		if json.Unmarshal(b, &c) != nil {
			return
		}
		for band := range forecast.Leads {
			if s := c.Score(band); s.Pairs < 0 || s.Brier < -1e-9 || s.Brier > 1+1e-9 || math.IsNaN(s.Skill) {
				t.Fatalf("band %d scores %+v", band, s)
			}
		}
		again, err := json.Marshal(c)
		if err != nil {
			return // a year beyond 9999
		}
		var back forecast.Counts
		if err := json.Unmarshal(again, &back); err != nil || back.Of != c.Of {
			t.Fatalf("%s does not read back: %v", again, err)
		}
		forecast.LearnCounts(&c, &c, false)
	})
}

// A feed whose chances are right is left alone. The margin of 1.645 standard
// errors lets chance through once in twenty bands; here one in ten is allowed.
func TestARightFeedStaysAsItIs(t *testing.T) {
	on, bands := 0, 0
	for seed := range uint64(30) {
		c, _ := counted(seed, 60, right)
		_, reports := forecast.LearnCounts(c, c, false)
		for _, r := range reports {
			bands++
			if r.Recalibrated {
				on++
			}
		}
	}
	if on*10 > bands {
		t.Errorf("%d of %d bands of a right feed were corrected", on, bands)
	}
}

func TestDrizzleIsCorrectedAndTheHeldBackScoreImproves(t *testing.T) {
	c, _ := counted(3, 60, drizzle)
	cal, reports := forecast.LearnCounts(c, c, false)
	fresh, _ := counted(4, 365, drizzle)
	_, truth := counted(4, 365, drizzle)
	for band, r := range reports {
		if !r.Recalibrated || !(r.After < r.Before) {
			t.Errorf("band %d was left as it is, or is no better: %+v", band, r)
		}
		corrected := []forecast.Pair{}
		for _, p := range truth {
			if p.Lead == forecast.Leads[band] {
				p.Chance = cal.Apply(p.Chance, p.Lead)
				corrected = append(corrected, p)
			}
		}
		if got, raw := forecast.ScoreOf(corrected), fresh.Score(band); got.Brier >= raw.Brier || got.Gap > 0.03 {
			t.Errorf("band %d: corrected Brier %.4f of %.4f, gap %.3f", band, got.Brier, raw.Brier, got.Gap)
		}
	}
}

// A place that differs from the others is corrected by itself; one with few
// pairs by what all places taught.
func TestAPlaceLeansOnAllPlaces(t *testing.T) {
	everywhere := &forecast.Counts{}
	for seed := range uint64(20) {
		c, _ := counted(100+seed, 60, right)
		everywhere.Merge(c)
	}
	odd, _ := counted(5, 120, func(p float64) float64 { return p * p * p })
	everywhere.Merge(odd)
	if _, reports := forecast.LearnCounts(odd, everywhere, false); !reports[2].Recalibrated || reports[2].Pooled {
		t.Errorf("a place that is unlike the others was not corrected by itself: %+v", reports[2])
	}
	wrong := &forecast.Counts{}
	for seed := range uint64(20) {
		c, _ := counted(200+seed, 60, drizzle)
		wrong.Merge(c)
	}
	few, _ := counted(6, 5, drizzle)
	if _, reports := forecast.LearnCounts(few, wrong, false); !reports[2].Recalibrated || !reports[2].Pooled {
		t.Errorf("a place with few pairs does not follow all places: %+v", reports[2])
	}
	if cal, _ := forecast.LearnCounts(few, few, false); cal != nil {
		t.Errorf("five days taught %+v", cal)
	}
	// Members keep their prior until something is learned.
	if cal, reports := forecast.LearnCounts(few, few, true); cal != nil ||
		reports[0].Band.Shift != forecast.PriorEnsemble().Bands[0].Shift {
		t.Errorf("members without pairs are corrected by %+v", reports[0].Band)
	}
}

func hourly(
	at time.Time,
	hours int,
	chance func(h int) float64,
	rain func(start time.Time) float64,
) *forecast.Forecast {
	f := &forecast.Forecast{
		Cell:    place.CellOf(52.4, 4.8),
		Wet:     forecast.DefaultWet,
		Sources: []forecast.Source{{Feed: "open-meteo", FetchedAt: at}},
	}
	start := at.Truncate(time.Hour).Add(-48 * time.Hour)
	for h := range hours + 48 {
		s := start.Add(time.Duration(h) * time.Hour)
		hr := forecast.Hour{Start: s}
		hr.Values[forecast.RainChance] = unit.Some(chance(h - 48))
		hr.Values[forecast.RainMM] = unit.Some(rain(s))
		f.Hours = append(f.Hours, hr)
	}
	return f
}

func dry(time.Time) float64 { return 0 }

func TestStatedKeepsWholePercents(t *testing.T) {
	at := weekZero.Add(25 * time.Minute)
	f := hourly(at, 300, func(h int) float64 { return float64((h+100)%101) / 100 }, dry)
	s, ok := f.Stated()
	if !ok || !s.Start.Equal(weekZero.Add(time.Hour)) || len(s.Chances) != 168+1 {
		t.Fatalf("stated from %v, %d hours", s.Start, len(s.Chances))
	}
	for i, step := range s.Chances {
		if want := float64((i+1+100)%101) / 100; math.Abs(float64(step)/forecast.ChanceSteps-want) > 1e-12 {
			t.Errorf("hour %d: %d steps for %v", i, step, want)
		}
	}
	f.Hours[60].ChanceHours = 6 // that of a longer period
	f.Hours[61].Values[forecast.RainChance] = unit.Opt{}
	if s, _ = f.Stated(); s.Chances[60-48-1] != forecast.Unstated || s.Chances[61-48-1] != forecast.Unstated {
		t.Error("chances of another period, or none, are taken for stated")
	}
	f.Wet.Period = 63 * time.Hour
	if _, ok := f.Stated(); ok {
		t.Error("a chance of days is verified")
	}
	if _, ok := (&forecast.Forecast{}).Stated(); ok {
		t.Error("an empty forecast states chances")
	}
}

// What is verified of an ensemble is what Draw corrects: with a correction
// that does nothing, the drawn members are wet as often as stated.
func TestStatedOfMembersIsWhatDrawReads(t *testing.T) {
	f := hourly(weekZero, 60, func(int) float64 { return 0.5 }, dry)
	rnd := rand.New(rand.NewPCG(3, 3))
	for range 31 {
		series := make(forecast.Series, len(f.Hours))
		for h := range series {
			if rnd.Float64() < 0.3 {
				series[h] = rnd.ExpFloat64()
			}
		}
		m := forecast.Member{}
		m.Values[forecast.RainMM] = series
		f.Members = append(f.Members, m)
	}
	s, ok := f.Stated()
	if !ok || !s.Members {
		t.Fatal("no shares of members stated")
	}
	none := &forecast.Recalibration{Bands: []forecast.Band{{UpTo: time.Hour}}}
	sc, err := forecast.Draw(f, forecast.DrawOptions{Recalibration: none})
	if err != nil {
		t.Fatal(err)
	}
	for i, step := range s.Chances {
		h, _ := sc.Index(s.Start.Add(time.Duration(i) * time.Hour))
		if got, want := sc.ChanceWet(h, 0.1), float64(step)/forecast.ChanceSteps; math.Abs(
			got-want,
		) > 0.5/31+0.5/forecast.ChanceSteps+1e-9 {
			t.Errorf("hour %d: %.3f of the members are wet, stated %.3f", i, got, want)
		}
	}
}

func TestRainIsCorrectedAndLoggedRainIsNoLess(t *testing.T) {
	var r forecast.Rain
	now := weekZero
	r.Note(hourly(now, 10, func(int) float64 { return 0 }, func(s time.Time) float64 { return 0.3 }), now)
	hour := now.Add(-5 * time.Hour)
	event := forecast.WetEvent{OverMM: 0.2, Period: time.Hour}
	if wet, known := r.Wet(event, hour); !wet || !known {
		t.Error("rain that the feed gives is not known")
	}
	if _, known := r.Wet(event, now); known {
		t.Error("rain of an hour that is not over is known")
	}
	now = now.Add(time.Hour)
	r.Note(hourly(now, 10, func(int) float64 { return 0 }, dry), now)
	if wet, _ := r.Wet(event, hour); wet {
		t.Error("the feed's later account does not count")
	}
	r.Logged(hour, 2)
	r.Logged(hour, 1)
	if wet, _ := r.Wet(forecast.WetEvent{OverMM: 1.5, Period: time.Hour}, hour); !wet {
		t.Error("logged rain does not count")
	}
	long := forecast.WetEvent{OverMM: 1.9, Period: 12 * time.Hour}
	if wet, known := r.Wet(long, hour.Add(-6*time.Hour)); !wet || !known {
		t.Error("an event over several hours, some of them unknown, is not known though it came")
	}
	for range 500 { // it stays small
		now = now.Add(time.Hour)
		r.Note(hourly(now, 10, func(int) float64 { return 0 }, dry), now)
	}
	if len(r.MM) > 100 {
		t.Errorf("%d hours are held", len(r.MM))
	}
}

// Every hour counts once in every band, however many forecasts there were, and
// cutting the time into pieces changes nothing.
func TestEachHourCountsOnceInEachBand(t *testing.T) {
	var stated []forecast.Stated
	for h := range 240 {
		at := weekZero.Add(time.Duration(h)*time.Hour + 7*time.Minute)
		s, _ := hourly(at, 200, func(int) float64 { return 0.25 }, dry).Stated()
		stated = append(stated, s)
	}
	rain := &forecast.Rain{Start: weekZero, MM: make([]float64, 240)}
	from, to := weekZero.Add(180*time.Hour), weekZero.Add(220*time.Hour)
	whole := forecast.CountDue(stated, rain, from, to)
	for band := range forecast.Leads {
		if n := whole.Score(band).Pairs; n != 40 {
			t.Errorf("band %d: %d pairs of 40 hours", band, n)
		}
	}
	parts := &forecast.Counts{}
	for t := from; t.Before(to); t = t.Add(8 * time.Hour) {
		parts.Merge(forecast.CountDue(stated, rain, t, t.Add(8*time.Hour)))
	}
	if *parts != *whole {
		t.Error("counting in pieces counts otherwise")
	}
}
