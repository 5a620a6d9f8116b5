package api

import (
	"fmt"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/unit"
)

// A dry day on which everything is tapped brings three messages: of the evening,
// of the morning, and that the first pad can be finished.
func TestPlayedDryDay(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	d.morning()
	d.taps = true
	d.until(d.at(18, 30))
	if len(d.placed) != d.site.pads {
		t.Errorf("%d pads were placed, all %d were told of in the morning", len(d.placed), d.site.pads)
	}
	d.end(3, "evening", "morning", "ready")
}

// Rain at 10:40 that no forecast of the morning showed; it is waited out.
func TestPlayedShowerWaitedOut(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	d.morning()
	d.taps = true
	d.until(d.at(10, 40))
	_, n := d.tap("rain_began")
	if n.Advice.Do != "cover" || len(n.Advice.Pads) == 0 {
		t.Errorf("it rains on soft pads: %+v", n.Advice)
	}
	d.taps = false
	d.until(d.at(10, 46))
	_, n = d.enter(fmt.Sprintf(`{"kind":"covered","pads":%s,"cover":"plastic","at":%q}`, quoted(n.Advice.Pads),
		d.h.Now.Format(time.RFC3339)))
	if n.Advice.Do != "wait" {
		t.Errorf("covered, in the rain: %+v", n.Advice)
	}
	d.until(d.at(11, 20))
	_, n = d.enter(fmt.Sprintf(`{"kind":"rain_ended","rain_mm":1.5,"at":%q}`, d.h.Now.Format(time.RFC3339)))
	if n.Rain.Seen || n.Advice.Do != "go_on" {
		t.Errorf("it is over, and the rest of the day is dry: %+v", n.Advice)
	}
	for _, p := range n.Pads {
		if p.Phase == "lost" {
			t.Errorf("%s was lost under its cover", p.Pad)
		}
	}
	d.taps = true
	d.until(d.at(18, 30))
	d.end(6, "evening", "morning", "rain")
}

// Rain from eight on that goes on all day: the day is given up.
func TestPlayedRainedOut(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	d.morning()
	d.taps = true
	d.until(d.at(7, 30))
	d.sky.Set(d.hoursOf(8, 20, 3), nil)
	d.until(d.at(8, 15))
	_, n := d.tap("rain_began")
	if n.Advice.Do != "cover" && n.Advice.Do != "wait" && n.Advice.Do != "stop" {
		t.Errorf("%+v", n.Advice)
	}
	d.taps = false
	d.until(d.at(8, 20))
	d.enter(fmt.Sprintf(`{"kind":"covered","cover":"plastic","at":%q}`, d.h.Now.Format(time.RFC3339)))
	d.until(d.at(10, 0))
	if n = d.see(); n.Advice.Do == "go_on" {
		t.Errorf("it still rains: %+v", n.Advice)
	}
	_, n = d.tap("skipped")
	if n.Advice.Do == "go_on" || n.Advice.Do == "wait" {
		t.Errorf("called off: %+v", n.Advice)
	}
	d.until(d.at(18, 30))
	d.end(7, "evening", "morning", "rain")
}

// Rain comes while a pad is being placed.
func TestPlayedHalfPlaced(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	until, pads := d.morning()
	d.taps = true
	d.until(until[1])
	d.taps = false
	d.until(until[1].Add(5 * time.Minute))
	d.tap("placing", pads[2])
	d.until(d.h.Now.Add(10 * time.Minute))
	_, n := d.tap("rain_began")
	if n.Advice.Do != "cover" {
		t.Errorf("a pad is half placed: %+v", n.Advice)
	}
	d.until(d.h.Now.Add(10 * time.Minute))
	d.tap("lost", pads[2])
	d.enter(fmt.Sprintf(`{"kind":"covered","cover":"plastic","at":%q}`, d.h.Now.Format(time.RFC3339)))
	d.until(d.h.Now.Add(25 * time.Minute))
	_, n = d.enter(fmt.Sprintf(`{"kind":"rain_ended","rain_mm":2,"at":%q}`, d.h.Now.Format(time.RFC3339)))
	if n.Advice.Do == "cover" {
		t.Errorf("it is over: %+v", n.Advice)
	}
	d.taps = true
	d.until(d.at(18, 30))
	d.end(7, "evening", "morning", "rain")
}

// A forecast of ten o'clock shows the rain of eleven: what is soft is covered
// before it comes.
func TestPlayedCoverInTime(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	d.morning()
	d.taps = true
	d.until(d.at(9, 50))
	d.sky.Set(d.hoursOf(11, 13, 6), nil)
	for d.see().Advice.Do != "cover" && d.h.Now.Before(d.at(11, 0)) {
		d.until(d.h.Now.Add(5 * time.Minute))
	}
	n := d.see()
	if n.Advice.Do != "cover" {
		t.Fatalf("heavy rain within the hour: %+v", n.Advice)
	}
	d.taps = false
	d.until(d.h.Now.Add(5 * time.Minute))
	d.enter(fmt.Sprintf(`{"kind":"covered","pads":%s,"cover":"plastic","at":%q}`, quoted(n.Advice.Pads),
		d.h.Now.Format(time.RFC3339)))
	d.until(d.at(14, 0))
	d.enter(fmt.Sprintf(`{"kind":"uncovered","at":%q}`, d.h.Now.Format(time.RFC3339)))
	d.taps = true
	d.until(d.at(18, 30))
	d.end(10, "evening", "morning", "rain")
}

// The forecast states 0 % all day, and a short-range product sees heavy rain come:
// it is believed in time to cover.
func TestPlayedRainThatNoForecastHad(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	d.morning()
	d.taps = true
	d.until(d.at(9, 50))
	d.sky.Nowcast(func(now time.Time) (forecast.ShortRange, error) {
		s := forecast.ShortRange{Cell: d.cell, Radar: forecast.RadarOK,
			Source: forecast.Source{Feed: d.sky.Named, FetchedAt: now}}
		for i := range 24 {
			at := now.Truncate(15 * time.Minute).Add(time.Duration(i) * 15 * time.Minute)
			s.Steps = append(s.Steps, forecast.ShortStep{Start: at, Length: 15 * time.Minute,
				RainMMH: unit.Some(d.hoursOf(11, 13, 8)(at))})
		}
		return s, nil
	})
	for d.see().Advice.Do != "cover" && d.h.Now.Before(d.at(10, 45)) {
		d.until(d.h.Now.Add(5 * time.Minute))
	}
	if n := d.see(); n.Advice.Do != "cover" {
		t.Errorf("heavy rain is foreseen for the next hour: %+v", n.Advice)
	}
}

// A mild day in November with a clear night to come.
func TestPlayedFrostAtDusk(t *testing.T) {
	t.Parallel()
	s := site{45.5, -122.6, "America/Los_Angeles", unit.Date{Year: 2026, Month: time.November, Day: 18}, 2,
		`"stock":{"covers":[{"kind":"plastic","pads":4},{"kind":"blanket","pads":4}]},"limits":{"rain_risk":0.5}`}
	zone, err := time.LoadLocation(s.zone)
	if err != nil {
		t.Fatal(err)
	}
	mild := course(zone, 9, 4)
	sky := &skytest.Sky{Air: mild}
	d := play(t, s, sky)
	d.morning()
	d.taps = true
	d.until(d.at(12, 30))
	sky.Air = func(t time.Time) float64 { // the forecast of noon has a cold night
		if t.After(d.at(16, 0)) {
			return mild(t) - 12
		}
		return mild(t)
	}
	d.until(d.at(16, 45))
	d.enter(fmt.Sprintf(`{"kind":"covered","cover":"blanket","at":%q}`, d.h.Now.Format(time.RFC3339)))
	d.until(d.at(18, 30))
	d.end(8, "evening", "morning", "dusk")
}

// A crew that is slow: it taps each pad an hour late.
func TestPlayedLateFinish(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	until, pads := d.morning()
	for i := range 3 {
		d.until(until[i].Add(time.Duration(i+1) * 40 * time.Minute))
		d.tap("placed", pads[i])
	}
	d.until(d.at(18, 30))
	d.end(9, "evening", "morning", "ready")
}

// One pad is tapped by mistake and taken back.
func TestPlayedMisTapUndone(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	until, pads := d.morning()
	d.taps = true
	d.until(until[0])
	d.taps = false
	d.until(d.h.Now.Add(time.Minute))
	id, n := d.tap("placed", pads[1])
	if n.Advice.Do != "go_on" || n.Advice.Pads[0] == pads[1] {
		t.Errorf("%+v", n.Advice)
	}
	d.until(d.h.Now.Add(time.Minute))
	if _, n = d.enter(fmt.Sprintf(`{"kind":"undone","entry":%q,"at":%q}`, id,
		d.h.Now.Format(time.RFC3339))); n.Advice.Do != "go_on" || len(n.Questions) != 0 {
		t.Errorf("taken back: %+v, asked %+v", n.Advice, n.Questions)
	}
	d.taps = true
	d.until(d.at(18, 30))
	d.end(4, "evening", "morning", "ready")
}

// Nobody taps after the evening before.
func TestPlayedWithoutATap(t *testing.T) {
	t.Parallel()
	d := play(t, evora, &skytest.Sky{})
	d.until(d.at(18, 30))
	n := d.see()
	placed := 0
	for _, p := range n.Pads {
		if p.Assumed {
			placed++
		}
	}
	if placed == 0 || len(n.Questions) == 0 {
		t.Errorf("%d pads are taken as placed, asked %+v", placed, n.Questions)
	}
	d.until(d.at(19, 5)) // and the evening asks about it
	d.end(6, "evening", "morning", "not_started")
}

// Dry days where clocks change, in zones off the whole hour, at the year's end
// and under the midnight sun bring the same three messages.
func TestPlayedElsewhere(t *testing.T) {
	t.Parallel()
	summer := `"crew":{"people":1}`
	for name, s := range map[string]site{
		"clocks go back": {40.7, -74.0, "America/New_York", unit.Date{Year: 2026, Month: time.November, Day: 1}, 2,
			summer},
		"clocks forward": {-37.8, 144.96, "Australia/Melbourne", unit.Date{Year: 2026, Month: time.October, Day: 4},
			2, summer},
		"the year ends": {-34.9, 138.6, "Australia/Adelaide", unit.Date{Year: 2027, Month: time.January, Day: 1}, 2,
			summer},
		"three quarters":   {27.7, 85.3, "Asia/Kathmandu", unit.Date{Year: 2026, Month: time.May, Day: 12}, 2, summer},
		"the midnight sun": {69.65, 18.96, "Europe/Oslo", unit.Date{Year: 2026, Month: time.June, Day: 21}, 2, summer},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			zone, err := time.LoadLocation(s.zone)
			if err != nil {
				t.Fatal(err)
			}
			d := play(t, s, &skytest.Sky{Air: course(zone, 18, 4)})
			d.morning()
			d.taps = true
			d.until(d.at(18, 30))
			d.end(3, "evening", "morning", "ready")
		})
	}
}

// In the polar night there is no light to pour by, and nothing is told but that.
func TestPlayedPolarNight(t *testing.T) {
	t.Parallel()
	s := site{78.2, 15.6, "Arctic/Longyearbyen", unit.Date{Year: 2026, Month: time.December, Day: 31}, 2,
		`"crew":{"people":1}`}
	d := play(t, s, &skytest.Sky{Air: func(time.Time) float64 { return 12 }})
	d.until(d.at(18, 30))
	if n := d.see(); n.Day != "off" {
		t.Errorf("the day is %s: %+v", n.Day, n.Advice)
	}
	d.end(1)
}
