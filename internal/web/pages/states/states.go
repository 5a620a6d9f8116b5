// Package states holds an invented project in every state that a page can show: the
// demonstration shows them on one page for developers, and the tests of the pages
// open each.
package states

import (
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/today"
	"dryslot/internal/unit"
	"dryslot/internal/web/pages/view"
)

// Names names every state.
func Names() []string {
	return []string{"pour", "care", "hold", "no-forecast", "partly", "morning", "under-way", "placing", "both", "late",
		"undone", "cover", "raining", "after", "many", "finished", "us"}
}

func date(n int) unit.Date {
	return unit.Date{Year: 2026, Month: time.April, Day: 14}.AddDays(n)
}

func ptr[T any](v T) *T { return &v }

// In returns a state as a reader of another language sees it.
func In(s view.Setting, language string) view.Setting {
	r := say.HabitsOf(language)
	r.Zone, r.Today, r.US = s.Reader.Zone, s.Reader.Today, s.Reader.US
	s.Reader = r
	return worded(s)
}

// worded has the plan and its mornings say what they say to the reader.
func worded(s view.Setting) view.Setting {
	s.Plan, s.Mornings = s.Plan.Worded(s.Reader.Say), job.WordedMornings(s.Mornings, s.Reader.Say)
	return s
}

// Setting returns one canned state; its day of interest is Date().
func Setting(state string) view.Setting {
	zone := time.FixedZone("test", 3600)
	s := view.Setting{Project: project(), Zone: zone, Now: date(0).At(19*60+20, zone), Sample: true}
	s.Reader = say.HabitsOf("en")
	if state == "us" {
		s.Project.Units = "us"
		s.Reader = say.HabitsOf("en-US")
	}
	s.Reader.Zone, s.Reader.Today = zone, date(0)
	version := 7
	s.Plan = pour.Plan{Version: &version, MadeAt: s.Now, State: pour.Open,
		Pours: []pour.Pour{{Date: date(1), Start: date(1).At(7*60+5, zone), Pads: []string{"H1", "H3", "H5"},
			ChanceUnharmed: 0.93, Bags: 11, WaterL: 30.8}},
		Unplaced: []pour.Unplaced{{Pad: "H2", WhyData: message.New(job.UnplacedTaken, message.Name("pad", "H2"),
			message.Date("", date(4)))}},
		Finish: pour.Finish{Likely: ptr(date(4)), NineInTen: ptr(date(6))}}
	for i := range 5 {
		s.Mornings = append(s.Mornings, morning(date(i), zone))
	}
	for _, p := range s.Project.Pads {
		s.Records = append(s.Records, pour.PadRecord{Pad: p.Name, State: pour.Waiting})
	}
	m := &s.Mornings[1]
	switch state {
	case "care":
		m.Verdict, m.StandBy = job.VerdictCare, standBy(zone, job.StandByPads)
	case "hold":
		m.Verdict, m.Pads, m.Window = job.VerdictHold, nil, nil
		m.ReasonData = message.New(job.RainReachesPad, message.Chance("", 0.61), message.Name("pad", "H1"),
			message.At("rain", date(1).At(11*60, zone)), message.At("set", date(1).At(13*60+30, zone)))
		m.Remedies = []job.Remedy{{ChangeData: message.New(job.StartAt, message.Clock("start", 6*60)),
			Verdict: job.VerdictCare, Score: 61}}
		m.StandBy = standBy(zone, job.StandByHeld)
		s.Plan.Pours[0].Date = date(2)
	case "no-forecast":
		for i := range s.Mornings {
			x := &s.Mornings[i]
			*x = job.Morning{Date: x.Date, Verdict: job.VerdictHold, Daylight: x.Daylight,
				ReasonData: message.New(job.NoForecast),
				Cautions: []job.Caution{{Code: "no-forecast", Severity: job.Act,
					Data: []message.Message{message.New(job.CautionNoForecast)}}}}
		}
		s.Plan = pour.Plan{Version: ptr(0), State: pour.AwaitingForecast}
	case "partly":
		for i := range m.Chart.Hours[13:] {
			m.Chart.Hours[13+i].RainChance = nil
		}
	case "morning":
		s.Now, s.Reader.Today = date(1).At(6*60+10, zone), date(1)
		s.Live = planned(&s)
	case "many":
		many(&s)
	case "under-way", "placing", "both", "late", "undone", "cover", "raining", "after":
		live(&s, state)
	case "finished":
		early := date(-9).At(9*60, zone)
		for i := range s.Records {
			s.Records[i] = pour.PadRecord{Pad: s.Records[i].Pad, State: pour.Cured, PlacedAt: &early, CuredAt: &s.Now}
		}
		s.Plan.State, s.Plan.Pours, s.Plan.Unplaced = pour.Done, nil, nil
		for i := range s.Mornings {
			s.Mornings[i].Pads, s.Mornings[i].PadsPossible = nil, 0
		}
	}
	if s.Live.At.IsZero() {
		s.Live = today.Now{At: s.Now, Day: today.Off, Advice: today.Advice{Do: today.None,
			Why: message.New(today.NowNothingToday)}}
	}
	return worded(s)
}

// standBy is what a crew makes of two gaps between showers.
func standBy(zone *time.Location, code message.Code) *job.StandBy {
	at := func(hour int) time.Time { return date(1).At(unit.Clock(hour*60), zone) }
	return &job.StandBy{UpTo: 7, Likely: 5,
		Gaps: []job.Gap{{From: at(7), Until: at(10)}, {From: at(14), Until: at(17)}},
		Data: []message.Message{message.New(code, message.Count("up_to", 7), message.Count("likely", 5)),
			message.New(job.StandByTwo,
				message.Within("gap",
					message.New(job.GapBetween, message.At("from", at(7)), message.At("until", at(10)))),
				message.Within("other", message.New(job.GapAfter, message.At("from", at(14)))))}}
}

// Proof returns what came of chances counted over some days, stated a little too
// high: nothing before the first day.
func Proof(days int) view.Proof {
	start := date(-days).At(0, time.UTC)
	var here forecast.Counts
	for h := range days * 24 {
		for band := range forecast.NumLeads {
			step := byte((h*7 + band*31) % 37 * (h % 5) * 200 / 148)
			wet := (h*13+band)%100 < int(step)*2/5
			here.Add(band, start.Add(time.Duration(h)*time.Hour), step, wet)
		}
	}
	p := view.Proof{Told: true, Of: "replay: stated chance of more than 0.1 mm in 1 h", Wet: forecast.DefaultWet}
	_, p.Reports = forecast.LearnCounts(&here, &here, false)
	return p
}

// Date is the day of interest of every canned state.
func Date() unit.Date { return date(1) }

// Bags is a stand-in for a pad's bags.
func Bags(pour.Pad) int { return 5 }

func project() pour.Project {
	p := pour.Project{ID: "0b9f6d9e-1111-4c4c-8888-3a5a5a5a5a5a", Spec: pour.DefaultSpec()}
	p.Name, p.Latitude, p.Longitude = "Bee-yard stands and cart path", 41.2, -8.1
	p.TimeZone, p.Units, p.WasteFraction = "Europe/Lisbon", "metric", 0.1
	p.Mix = pour.Mix{BagKg: 25, YieldLPerBag: 12, WaterLPerBag: 2.2, WaterLPerBagMax: 2.8, CementFraction: ptr(0.15),
		Cement: "general", Strength28dMPa: 28, PricePerBag: ptr(4.2)}
	p.Crew.People, p.Crew.BagsPerHour, p.Crew.VehiclePayloadKg, p.Crew.MovesPerBag = 2, 7, 600, 3
	p.Stock.Covers = []pour.Cover{{Kind: pour.Plastic, Pads: 6}, {Kind: pour.Blanket, Pads: 3}}
	for i, n := range []string{"H1", "H2", "H3", "H4", "H5", "H6"} {
		p.Pads = append(p.Pads, pour.Pad{Name: n, LengthM: 1.1, WidthM: 0.8, ThicknessM: 0.08, XM: float64(i) * 1.3})
	}
	for i, n := range []string{"P1", "P2", "P3", "P4", "P5", "P6", "P7", "P8"} {
		p.Pads = append(p.Pads, pour.Pad{Name: n, LengthM: 1, WidthM: 1.2, ThicknessM: 0.09, XM: float64(i), YM: 1.4})
	}
	p.Pads[1].After = []pour.After{{Pad: "H1", Until: pour.Stripped}, {Pad: "H3", Until: pour.Stripped}}
	return p
}

func morning(d unit.Date, zone *time.Location) job.Morning {
	at := func(hm int) time.Time { return d.At(unit.Clock(hm/100*60+hm%100), zone) }
	m := job.Morning{Date: d, Verdict: job.VerdictPour, Score: ptr(82), PadsPossible: 3,
		Window: &job.Window{Start: at(705), LatestStart: at(850), LastPlaced: at(1040), End: at(1420)},
		Daylight: job.Daylight{Case: daylight.Ordinary, FirstLight: ptr(at(628)), Sunrise: ptr(at(655)),
			Sunset: ptr(at(2010)), LastLight: ptr(at(2038))},
		ReasonData: message.New(job.NothingThreatens, message.Name("pad", "H5"), message.At("set", at(1530))),
		Cautions: []job.Caution{
			{Code: "cold-overnight", Severity: job.Act,
				Data:       []message.Message{message.New(concrete.RuleNearFrost, message.Temperature("low", 1.2))},
				Figure:     &job.Figure{Name: "slab_min_c", Value: 1.2, Limit: 5},
				SourceData: message.New(concrete.SourceColdTable)},
			{Code: "evaporation", Severity: job.Watch,
				Data:       []message.Message{message.New(concrete.RuleDryingWatch, message.Evaporation("rate", 0.6))},
				Figure:     &job.Figure{Name: "peak_kg_m2_h", Value: 0.6, Limit: 0.5},
				SourceData: message.New(concrete.SourceEvaporation)}},
		Forecast: &job.ForecastNote{Feed: "replay", FetchedAt: at(40), AgeMin: 42, Members: 31,
			Attribution: "Sample weather, invented."},
	}
	m.Parts.Temperature.AirMinC, m.Parts.Temperature.AirMaxC = ptr(4.2), ptr(15.1)
	m.Parts.Rain.ChanceUnharmed = ptr(0.93)
	for i, n := range []string{"H1", "H3", "H5"} {
		k := 60 * i
		later := func(t time.Time, min int) time.Time { return t.Add(time.Duration(min) * time.Minute) }
		m.Pads = append(m.Pads, job.PadTimes{Pad: n, PlaceStart: later(at(735), k), PlaceEnd: later(at(820), k),
			FinishStart: later(at(1100), k/3), FinishEnd: later(at(1112), k/3),
			InitialSet: ptr(later(at(1330), k)), FinalSet: ptr(later(at(1710), k)),
			StripFrom: ptr(at(2300).Add(6 * time.Hour)), WalkFrom: ptr(at(2300).Add(14 * time.Hour)),
			CuredBy:        ptr(at(800).AddDate(0, 0, 9)),
			ChanceUnharmed: 0.97 - 0.02*float64(i), ChanceDry: 0.9, ChanceInspect: 0.05,
			ReasonData: message.New(job.NothingThreatens, message.Name("pad", n),
				message.At("set", later(at(1330), k)))})
	}
	m.Chart = &job.Chart{}
	for h := 5; h < 31; h++ {
		t := d.At(0, zone).Add(time.Duration(h) * time.Hour)
		c := job.ChartHour{Time: t, RainChance: ptr(0.02 + 0.6*math.Exp(-math.Pow(float64(h-21)/3, 2))),
			AirC: ptr(9 + 6*math.Sin(float64(h-9)/24*2*math.Pi))}
		if h >= 8 {
			c.SlabC = ptr(12 + 7*math.Sin(float64(h-10)/24*2*math.Pi))
		}
		if h >= 8 && h < 15 {
			c.EvapKgM2H = ptr(0.2 + 0.4*math.Exp(-math.Pow(float64(h-13)/2, 2)))
		}
		m.Chart.Hours = append(m.Chart.Hours, c)
	}
	return m
}
