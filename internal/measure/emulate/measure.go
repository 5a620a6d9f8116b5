package emulate

import (
	"fmt"
	"io"
	"math"
	"time"

	"dryslot/internal/forecast"
)

// LeadRow is one line of the table of chances by lead time.
type LeadRow struct {
	Days      int // evening forecasts of the date this many days ahead
	On        bool
	Raw       forecast.Score // chances as the weights give them, held-back months
	Corrected forecast.Score // recalibrated with what the other months taught
}

// DrawFigures are how weathers drawn from hourly chances behave, on held-back
// months.
type DrawFigures struct {
	Forecasts  int
	WorstHour  float64        // largest distance of an hour's share of wet members and its chance, in members
	Lag1       float64        // residual correlation of a drawn wet hour with the next, pooled
	FittedLag1 float64        // what it is fitted to reach
	DryWindow  forecast.Score // chance of five dry hours
}

// Measures is how far a region's emulated forecasts can be believed.
type Measures struct {
	Region string
	Leads  []LeadRow
	Draw   DrawFigures
}

// held reports whether a date is held back: every other month.
func held(m time.Month) bool { return m%2 == 0 }

// Measure learns a correction from the forecasts of the odd months, as the service
// does, and scores it, and weathers drawn by it, on those of the even months. Every
// every-th day is used.
func (r *Region) Measure(leads, every int) Measures {
	out := Measures{Region: r.Name}
	bands := make([]time.Duration, leads)
	for i := range bands {
		bands[i] = time.Duration(i+1)*24*time.Hour + 6*time.Hour
	}
	var learn forecast.Counts
	var test []forecast.Pair
	r.eachRun(leads, every, func(s *Station, d, lead int, f *forecast.Forecast) {
		pairs := s.pairs(d, f)
		if held(s.dates[d].Month) {
			test = append(test, pairs...)
			return
		}
		for _, p := range pairs {
			learn.AddPair(p)
		}
	})
	cal, reports := forecast.LearnCounts(&learn, &learn, false)
	corrected := make([]forecast.Pair, len(test))
	for i, p := range test {
		p.Chance = cal.Apply(p.Chance, p.Lead)
		corrected[i] = p
	}
	raw, cor := forecast.ByLead(test, bands), forecast.ByLead(corrected, bands)
	for i := range bands {
		row := LeadRow{Days: i + 1, Raw: raw[i], Corrected: cor[i]}
		for k, upTo := range forecast.Leads {
			if bands[i]-12*time.Hour <= upTo {
				row.On = reports[k].Recalibrated
				break
			}
		}
		out.Leads = append(out.Leads, row)
	}
	out.Draw = r.measureDraw(cal, every)
	return out
}

// eachRun calls f with the evening forecasts of each date, cut to that date.
func (r *Region) eachRun(leads, every int, f func(s *Station, d, lead int, run *forecast.Forecast)) {
	for _, s := range r.Stations {
		for d := leads; d < s.Days(); d += every {
			if !s.whole[d] {
				continue
			}
			for lead := 1; lead <= leads; lead++ {
				run, ok := s.Run(&r.Noise, s.Evening(d-lead), lead)
				if !ok {
					continue
				}
				run.Hours = run.Hours[(lead-1)*dayHours:]
				f(s, d, lead, run)
			}
		}
	}
}

func (s *Station) wet(d, hod int) bool {
	return s.RainMM[s.hourOfDay(d)+hod] > forecast.DefaultWet.OverMM
}

func (s *Station) pairs(d int, f *forecast.Forecast) []forecast.Pair {
	out := make([]forecast.Pair, dayHours)
	for i := range out {
		h := &f.Hours[i]
		out[i] = forecast.Pair{
			Chance: h.Values[forecast.RainChance].V,
			Wet:    s.wet(d, i),
			Lead:   h.Start.Sub(f.FetchedAt()),
			Target: h.Start,
		}
	}
	return out
}

// windowStarts are the hours of the day at which a measured dry window begins.
var windowStarts = []int{6, 11, 16}

const windowHours = 5

// measureDraw draws weathers from the forecasts of one to three days.
func (r *Region) measureDraw(cal *forecast.Recalibration, every int) DrawFigures {
	var out DrawFigures
	var dry []forecast.Pair
	var next, own, fitted float64
	r.eachRun(3, every, func(s *Station, d, lead int, f *forecast.Forecast) {
		if !held(s.dates[d].Month) {
			return
		}
		sc, err := forecast.Draw(f, forecast.DrawOptions{Recalibration: cal})
		if err != nil {
			panic(fmt.Sprintf("emulate: its own forecast was refused: %v", err)) // a slip here, not bad input
		}
		out.Forecasts++
		noon := f.Hours[dayHours/2].Start
		n, o, worst := drawnResiduals(sc, f, cal)
		fitted += o * forecast.Clustering(s.Latitude, noon, noon.Sub(f.FetchedAt()))
		next, own, out.WorstHour = next+n, own+o, max(out.WorstHour, worst)
		for _, a := range windowStarts {
			from := f.Hours[a].Start
			truth := true
			for h := a; h < a+windowHours; h++ {
				truth = truth && !s.wet(d, h)
			}
			chance := 1 - sc.WindowWet(from, from.Add(windowHours*time.Hour), sc.WetMM)
			dry = append(dry, forecast.Pair{Chance: chance, Wet: truth, Lead: from.Sub(f.FetchedAt()), Target: from})
		}
	})
	out.Lag1, out.FittedLag1 = next/own, fitted/own
	out.DryWindow = forecast.ScoreOf(dry)
	return out
}

// drawnResiduals sums the residuals of the members, wet less chance.
func drawnResiduals(
	sc *forecast.Scenarios,
	f *forecast.Forecast,
	cal *forecast.Recalibration,
) (next, own, worst float64) {
	chance := make([]float64, sc.Hours)
	for h := range chance {
		chance[h] = sc.ChanceWet(h, sc.WetMM)
		want := cal.Apply(f.Hours[h].Values[forecast.RainChance].V, f.Hours[h].Start.Sub(f.FetchedAt()))
		worst = max(worst, math.Abs(chance[h]-want)*float64(len(sc.Members)))
	}
	for _, m := range sc.Members {
		was := 0.0
		for h, mm := range m.RainMM {
			r := -chance[h]
			if mm > sc.WetMM {
				r++
			}
			own += r * r / float64(sc.Hours)
			if h > 0 {
				next += r * was / float64(sc.Hours-1)
			}
			was = r
		}
	}
	return next, own, worst
}

// Print writes the measures as a table and as lines of name: value unit.
func (m Measures) Print(w io.Writer) error {
	var err error
	say := func(format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(w, format, args...)
		}
	}
	say("%s, hourly chance of more than 0.1 mm, emulated, held-back months\n", m.Region)
	say("  days ahead   pairs  skill raw  corrected   gap raw  corrected  recalibration\n")
	for _, r := range m.Leads {
		on := "off"
		if r.On {
			on = "on"
		}
		say(
			"  %10d  %6d  %9.3f  %9.3f  %8.3f  %9.3f  %s\n",
			r.Days,
			r.Raw.Pairs,
			r.Raw.Skill,
			r.Corrected.Skill,
			r.Raw.Gap,
			r.Corrected.Gap,
			on,
		)
	}
	worst := 0.0
	for _, r := range m.Leads {
		worst = max(worst, r.Corrected.Gap)
	}
	say("reliability_gap_worst_lead_%s: %.4f ratio\n", m.Region, worst)
	say("drawn_forecasts_%s: %d count\n", m.Region, m.Draw.Forecasts)
	say("drawn_hour_error_%s: %.3f members\n", m.Region, m.Draw.WorstHour)
	say("drawn_lag1_%s: %.3f ratio\n", m.Region, m.Draw.Lag1)
	say("fitted_lag1_%s: %.3f ratio\n", m.Region, m.Draw.FittedLag1)
	say("dry_window_gap_%s: %.4f ratio\n", m.Region, m.Draw.DryWindow.Gap)
	say("dry_window_skill_%s: %.3f ratio\n", m.Region, m.Draw.DryWindow.Skill)
	return err
}
