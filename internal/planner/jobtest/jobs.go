// Package jobtest gives the planner's tests their reference jobs and weather (invented).
package jobtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Zone is that of all test jobs: two hours east of UTC, without clock changes.
var Zone = time.FixedZone("site", 2*3600)

// Begin is the first day of all test jobs.
var Begin = unit.Date{Year: 2026, Month: time.June, Day: 8}

// GridJob is rows x columns pads of one size; alternate bays where asked:
// infill pads only after all their neighbours are stripped.
func GridJob(rows, cols int, length, width, thick float64, bays bool, people, sets, count int) pour.Spec {
	s := pour.DefaultSpec()
	s.Name, s.Latitude, s.Longitude, s.TimeZone, s.Units = "Potting yard", 47.1, 8.2, "Etc/GMT-2", "metric"
	s.Crew.People = people
	s.FormSets = nil
	for i := range sets {
		s.FormSets = append(s.FormSets, pour.FormSet{Name: fmt.Sprintf("F%d", i+1), Count: count, Cells: 1})
	}
	name := func(r, c int) string { return fmt.Sprintf("%c%d", 'A'+r, c+1) }
	for r := range rows {
		for c := range cols {
			p := pour.Pad{Name: name(r, c), LengthM: length, WidthM: width, ThicknessM: thick,
				XM: float64(c) * length, YM: float64(r) * width}
			if sets > 0 {
				p.FormSet = &s.FormSets[(r*cols+c)%sets].Name
			}
			if bays && (r+c)%2 == 1 {
				for _, n := range [][2]int{{r - 1, c}, {r + 1, c}, {r, c - 1}, {r, c + 1}} {
					if n[0] >= 0 && n[0] < rows && n[1] >= 0 && n[1] < cols {
						p.After = append(p.After, pour.After{Pad: name(n[0], n[1]), Until: pour.Stripped})
					}
				}
			}
			s.Pads = append(s.Pads, p)
		}
	}
	return s
}

// The reference jobs (invented).
func JobJ4() pour.Spec  { return GridJob(1, 4, 1, 1, 0.075, false, 1, 0, 0) }
func JobJ6() pour.Spec  { return GridJob(2, 3, 1.2, 0.9, 0.075, true, 1, 2, 6) }
func JobJ12() pour.Spec { return GridJob(2, 6, 1.2, 0.9, 0.075, true, 1, 2, 6) }
func JobJ24() pour.Spec { return GridJob(4, 6, 1.2, 0.9, 0.075, true, 2, 2, 6) }
func JobJ60() pour.Spec { return GridJob(6, 10, 1.2, 0.9, 0.075, true, 3, 3, 10) }

// Light gives days of ordinary light from a date on.
func Light(from unit.Date, n int, first, last string) []daylight.Day {
	at := func(d unit.Date, s string) time.Time {
		c, err := unit.ParseClock(s)
		if err != nil {
			panic(err)
		}
		return d.At(c, Zone)
	}
	days := make([]daylight.Day, n)
	for i := range days {
		d := from.AddDays(i)
		f, l := at(d, first), at(d, last)
		days[i] = daylight.Day{Date: d, Case: daylight.Ordinary, FirstLight: f, Sunrise: f.Add(35 * time.Minute),
			Sunset: l.Add(-35 * time.Minute), LastLight: l}
	}
	return days
}

// Weather makes scenarios of so many days from the midnight before begin, dry
// and at 18 C on average unless rain says otherwise.
func Weather(days, members, tracks int, air func(track, hour int) float64, rain func(member,
	hour int) float64) *forecast.Scenarios {
	s := &forecast.Scenarios{Start: Begin.At(0, Zone).UTC(), Hours: 24 * days, WetMM: 0.1, Tracks: tracks}
	shared := make([]forecast.Weather, tracks)
	for k := range shared {
		w := forecast.Weather{Track: k}
		for h := range s.Hours {
			w.AirC = append(w.AirC, air(k, h))
			w.HumidityPct = append(w.HumidityPct, 70)
			w.WindMS = append(w.WindMS, 2)
			w.CloudPct = append(w.CloudPct, 50)
			w.ShortwaveWM2 = append(w.ShortwaveWM2, max(0, 400*math.Sin(float64(h%24-6)/12*math.Pi)))
		}
		shared[k] = w
	}
	for m := range members {
		w := shared[m%tracks]
		for h := range s.Hours {
			w.RainMM = append(w.RainMM, rain(m, h))
		}
		w.RainMM = append([]float64(nil), w.RainMM...)
		s.Members = append(s.Members, w)
	}
	return s
}

func Mild(_, hour int) float64 { return 18 - 5*math.Cos(float64(hour%24-3)/24*2*math.Pi) }
func Dry(_, _ int) float64     { return 0 }

// Showers draws spells of rain: about the given share of hours is wet.
func Showers(seed uint64, share float64) func(m, h int) float64 {
	type key struct{ m, block int }
	kept := map[key]float64{}
	return func(m, h int) float64 {
		k := key{m, h / 4}
		v, ok := kept[k]
		if !ok {
			r := rand.New(rand.NewPCG(seed, uint64(m)<<32|uint64(h/4)))
			if r.Float64() < share {
				v = 6 * r.Float64() * r.Float64()
			}
			kept[k] = v
		}
		return v
	}
}

// PlainSlabs is a slab that follows from the air at placing alone: quick to
// compute and easy to foresee.
type PlainSlabs struct {
	Weather *forecast.Scenarios
	asked   map[slabs.Query]int
}

func (p *PlainSlabs) Behave(q slabs.Query) *concrete.Behaviour {
	if p.asked != nil {
		p.asked[q]++
	}
	h := int(q.Placed.Sub(p.Weather.Start).Hours())
	if h < 0 || h >= p.Weather.Hours {
		return &concrete.Behaviour{InitialSet: concrete.Never, FinalSet: concrete.Never, FinishFrom: concrete.Never,
			FinishUntil: concrete.Never,
			StripFrom:   concrete.Never, FrostSafe: concrete.Never, WalkFrom: concrete.Never, CuredBy: concrete.Never,
			Unknown: true}
	}
	var air float64
	for i := range p.Weather.Members {
		if p.Weather.Members[i].Track == q.Track {
			air = p.Weather.Members[i].AirC[h]
			break
		}
	}
	speed := math.Pow(4.0/3, (20-air)/(10/1.8)) // a third longer for each 10 F colder (trade rule)
	hours := func(x float64) time.Duration { return time.Duration(x * speed * float64(time.Hour)) }
	b := &concrete.Behaviour{InitialSet: hours(5.5), FinalSet: hours(8), FinishFrom: hours(2.2),
		FinishUntil: hours(6.1),
		StripFrom:   hours(16), FrostSafe: hours(24), WalkFrom: hours(24), CuredBy: hours(24 * 6),
		ColdestC: unit.Celsius(air - 5), Freezes: air < 1, EvapPeak: 0.3, EvapPeakAt: time.Hour}
	if q.Cover == pour.Blanket {
		b.Freezes, b.ColdestC = false, 8
	}
	return b
}

// Frozen reports a base that is frozen whenever the air is below 0 C.
func (p *PlainSlabs) Frozen(track int, at time.Time, cover string) bool {
	h := int(at.Sub(p.Weather.Start).Hours())
	if h < 0 || h >= p.Weather.Hours || cover != "" {
		return false
	}
	for i := range p.Weather.Members {
		if p.Weather.Members[i].Track == track {
			return !(p.Weather.Members[i].AirC[h] >= 0)
		}
	}
	return false
}

// JobFor is a job at the evening before begin's morrow, over the weather given.
func JobFor(spec pour.Spec, wx *forecast.Scenarios, mornings int) job.Job {
	return job.Job{Spec: spec, Now: Begin.At(0, Zone).Add(5 * time.Hour), Zone: Zone, Days: Light(Begin, mornings+1,
		"05:00", "21:30"),
		Weather: wx, Slabs: &PlainSlabs{Weather: wx}, Because: message.New("asked_for"),
		Trust: job.Trust{Feed: "sample", FetchedAt: Begin.At(0, Zone), Age: time.Hour, Members: len(wx.Members),
			Attribution: "sample"}}
}

// BenchJob is a reference job under 31 members, each with its own track, and
// ten mornings.
func BenchJob(spec pour.Spec) job.Job {
	wx := Weather(14, 31, 31, func(k, h int) float64 { return Mild(k, h) + float64(k%7) - 3 }, Showers(5, 0.05))
	return JobFor(spec, wx, 10)
}

// Largest is a job of as many pads as a project may have, of one thickness or
// each of its own; after has every other pad wait for the one before it.
func Largest(mixed, after bool, sets int) pour.Spec {
	s := GridJob(1, 1, 1, 1, 0.075, false, 1, sets, 10)
	s.Pads = nil
	for i := range pour.MaxPads {
		p := pour.Pad{Name: fmt.Sprintf("P%d", i), LengthM: 1, WidthM: 1, ThicknessM: 0.075, XM: float64(i % 25),
			YM: float64(i / 25)}
		if mixed {
			p.ThicknessM = 0.05 + 0.15*float64(i*7919%pour.MaxPads)/pour.MaxPads
		}
		if sets > 0 {
			p.FormSet = &s.FormSets[i%sets].Name
		}
		if after && i%2 == 1 {
			p.After = []pour.After{{Pad: fmt.Sprintf("P%d", i-1), Until: pour.Stripped}}
		}
		s.Pads = append(s.Pads, p)
	}
	return s
}

// LargestJobs are the largest projects that validation lets through.
var LargestJobs = []struct {
	Name         string
	Mixed, After bool
	Sets         int
}{
	{"equal", false, false, 0}, {"thicknesses", true, false, 0}, {"order", false, true, 0}, {"order_and_forms", false,
		true, 3},
	{"thicknesses_order_and_forms", true, true, 3},
}

func LargestJob(tb testing.TB, mixed, after bool, sets int) job.Job {
	tb.Helper()
	spec := Largest(mixed, after, sets)
	wx := Weather(14, 200, 12, func(k, h int) float64 { return Mild(k, h) + float64(k%7) - 3 }, Showers(5, 0.05))
	in := JobFor(spec, wx, 10)
	var err error
	if in.Slabs, err = slabs.New(spec, wx, slabs.Options{Zone: Zone}); err != nil {
		tb.Fatal(err)
	}
	return in
}
