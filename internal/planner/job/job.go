// Package job holds the types that planning takes and gives: the job, a change
// to try, and the plan with the mornings it was chosen from. It has no logic.
package job

import (
	"time"

	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Job is all that a plan follows from.
type Job struct {
	Spec    pour.Spec
	Records []pour.PadRecord
	Now     time.Time
	Zone    *time.Location
	Days    []daylight.Day      // from today on, as many as there are mornings to score, and one more
	Weather *forecast.Scenarios // nil: no forecast yet
	Trust   Trust
	Slabs   slabs.Slabs
	Last    *pour.Plan // nil: none yet
	Skipped []Skip
	Begun   bool // the crew has set up today: no more time goes into it
	// Ready is when the pad in hand was begun, or the crew is free for the next, of
	// one that has begun today; zero: it is free at the next of the starts that are tried.
	Ready   time.Time
	Because message.Message
	WhatIf  *WhatIf
}

// Skip is a morning that the builder has called off.
type Skip struct {
	Date unit.Date
	Pad  string // empty: the whole morning
	Rain bool   // not called off, but kept from being added to a day on which it rains
}

// Trust is where the weather comes from and how far to believe it.
type Trust struct {
	Feed        string
	IssuedAt    *time.Time
	FetchedAt   time.Time
	Age         time.Duration
	Members     int
	Attribution string
	Sample      bool // invented weather
}

// WhatIf is a change to try without keeping it.
type WhatIf struct {
	People            *int        `json:"people,omitempty"`
	EarliestStart     *unit.Clock `json:"earliest_start,omitempty"`
	WaterTemperatureC *float64    `json:"water_temperature_c,omitempty"`
	BagTemperatureC   *float64    `json:"bag_temperature_c,omitempty"`
	Cover             *string     `json:"cover,omitempty"` // plastic, burlap, blanket or none, for every pad
	// on the base the night before: plastic, blanket or none
	BaseCover       *string   `json:"base_cover,omitempty"`
	BaseWetted      *bool     `json:"base_wetted,omitempty"`
	Windbreak       *bool     `json:"windbreak,omitempty"`
	Shade           *bool     `json:"shade,omitempty"`
	EvaporationFilm *bool     `json:"evaporation_film,omitempty"`
	Fogging         *bool     `json:"fogging,omitempty"`
	Admixture       *string   `json:"admixture,omitempty"` // none, retarder or accelerator
	Pads            []string  `json:"pads,omitempty"`      // only these
	LeaveOut        *LeaveOut `json:"leave_out,omitempty"`
}

// LeaveOut calls some pads off on one morning.
type LeaveOut struct {
	Date unit.Date `json:"date" required:"true"`
	Pads []string  `json:"pads" required:"true"`
}

// Skipped returns what is called off by the change.
func (w *WhatIf) Skipped() []Skip {
	var out []Skip
	if w.LeaveOut != nil {
		for _, p := range w.LeaveOut.Pads {
			out = append(out, Skip{Date: w.LeaveOut.Date, Pad: p})
		}
	}
	return out
}

// Apply returns the project with the change made to it; Pads stays a question.
func (w *WhatIf) Apply(s pour.Spec) pour.Spec {
	set(&s.Crew.People, w.People)
	set(&s.Crew.EarliestStart, w.EarliestStart)
	if w.WaterTemperatureC != nil {
		s.Mix.WaterTemperatureC = w.WaterTemperatureC
	}
	if w.BagTemperatureC != nil {
		s.Mix.BagTemperatureC = w.BagTemperatureC
	}
	set(&s.Mix.Admixture, w.Admixture)
	x := &s.Practice
	if w.BaseCover != nil {
		x.BaseCover, s.Site.BaseCovered = *w.BaseCover, false
	}
	set(&x.BaseWetted, w.BaseWetted)
	set(&x.Windbreak, w.Windbreak)
	set(&x.Shade, w.Shade)
	set(&x.EvaporationFilm, w.EvaporationFilm)
	set(&x.Fogging, w.Fogging)
	if w.Cover != nil {
		s.Stock.Covers = coversWith(s.Stock.Covers, *w.Cover)
	}
	return s
}

func set[T any](into, v *T) {
	if v != nil {
		*into = *v
	}
}

// coversWith returns the covers with enough of a kind for every pad, or none.
func coversWith(have []pour.Cover, kind string) []pour.Cover {
	if kind == pour.NoCover {
		return []pour.Cover{}
	}
	out := []pour.Cover{}
	for _, c := range have {
		if c.Kind != kind {
			out = append(out, c)
			continue
		}
		kind = ""
		c.Pads, c.AreaM2 = pour.MaxPads, nil
		out = append(out, c)
	}
	if kind != "" {
		out = append(out, pour.Cover{Kind: kind, Pads: pour.MaxPads})
	}
	return out
}

// Result is a plan with the mornings that it was chosen from.
type Result struct {
	Plan     pour.Plan
	Mornings []Morning
}

// Verdict is what to do with a morning.
type Verdict string

// The verdicts. Care is to pour with the named precautions.
const (
	VerdictPour Verdict = "pour"
	VerdictCare Verdict = "care"
	VerdictHold Verdict = "hold"
)

// Morning is one coming date, scored. Its JSON form is the public contract.
type Morning struct {
	Date         unit.Date  `json:"date"`
	Verdict      Verdict    `json:"verdict"`
	Score        *int       `json:"score"` // 0 to 100; null before the first forecast
	Window       *Window    `json:"window"`
	Daylight     Daylight   `json:"daylight"`
	PadsPossible int        `json:"pads_possible"`
	Parts        Parts      `json:"parts"`
	Pads         []PadTimes `json:"pads"`
	Cautions     []Caution  `json:"cautions"`
	Remedies     []Remedy   `json:"remedies"`
	// StandBy is what a crew is expected to make of showers and the gaps between
	// them; left out: it stays dry, or the morning is too far off to say.
	StandBy *StandBy `json:"stand_by,omitempty"`
	// Better is the nearest better option; null: this is as good as it gets, or nothing in sight is better.
	Better     *pour.Option    `json:"better"`
	Forecast   *ForecastNote   `json:"forecast"`
	Reason     string          `json:"reason"` // the binding reason, one line, worded last
	ReasonData message.Message `json:"reason_data"`
	Chart      *Chart          `json:"chart,omitempty"` // what the day strip draws
}

// StandBy is what a crew is expected to make of a morning with rain when it comes
// to the site and decides from hour to hour.
type StandBy struct {
	UpTo   int               `json:"up_to"`  // pads that one time in ten it places, or more
	Likely int               `json:"likely"` // pads that it places every second time, or more
	Lost   float64           `json:"pads_lost"`
	Gaps   []Gap             `json:"gaps"`
	Text   string            `json:"text"` // worded last
	Data   []message.Message `json:"text_data"`
}

// Gap is hours in which pads are more likely placed than not.
type Gap struct {
	From  time.Time `json:"from"`
	Until time.Time `json:"until"` // of the last pad's start
}

// Window is when to start.
type Window struct {
	Start       time.Time `json:"start"`
	LatestStart time.Time `json:"latest_start"`
	LastPlaced  time.Time `json:"last_placed"` // the last pad, when begun at Start
	End         time.Time `json:"end"`         // cleaned up, when begun at Start
}

// Daylight is the light of the date; null where an instant does not exist.
type Daylight struct {
	Case       daylight.Case `json:"case"`
	FirstLight *time.Time    `json:"first_light"`
	Sunrise    *time.Time    `json:"sunrise"`
	Sunset     *time.Time    `json:"sunset"`
	LastLight  *time.Time    `json:"last_light"`
}

// Parts is what the score is made of.
type Parts struct {
	Rain        RainPart        `json:"rain"`
	Temperature TemperaturePart `json:"temperature"`
	Evaporation EvaporationPart `json:"evaporation"`
	Light       LightPart       `json:"daylight"`
}

// RainPart is the chance that the pour stays dry, counted over members.
type RainPart struct {
	ChanceUnharmed *float64   `json:"chance_unharmed"`
	ChanceDry      *float64   `json:"chance_dry"`     // no hour with the feed's wet event from placing to initial set
	FirstWetHour   *time.Time `json:"first_wet_hour"` // first hour with rain in a tenth of the members or more
}

// TemperaturePart is what cold and heat do.
type TemperaturePart struct {
	Suitability *float64   `json:"suitability"` // 0 to 1
	AirMinC     *float64   `json:"air_min_c"`   // the feed's own; the others are medians over the members
	AirMaxC     *float64   `json:"air_max_c"`
	MixC        *float64   `json:"mix_c"`
	SlabMinC    *float64   `json:"slab_min_c"`
	FrostSafeAt *time.Time `json:"frost_safe_at"`
	AirMin      *Range     `json:"air_min_range"`
	AirMax      *Range     `json:"air_max_range"`
	Mix         *Range     `json:"mix_range"`
	SlabMin     *Range     `json:"slab_min_range"`
	Corner      *Range     `json:"corner_min_range"`
}

// Range is where a figure lies in eight of ten members: one in ten is below Low,
// one in ten above High.
type Range struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// EvaporationPart is the drying between placing and initial set. The estimate
// is good to plus or minus 40 % (Hover, ACI SP-338, 2020).
type EvaporationPart struct {
	PeakKgM2H *float64   `json:"peak_kg_m2_h"` // the median over the members
	At        *time.Time `json:"at"`
	Peak      *Range     `json:"peak_range"`
}

// LightPart is how much of the work lies between first and last light.
type LightPart struct {
	ShareOfWorkInLight *float64 `json:"share_of_work_in_light"` // 0 to 1
}

// PadTimes is one pad's day. All times are estimates.
type PadTimes struct {
	Pad            string          `json:"pad"`
	PlaceStart     time.Time       `json:"place_start"`
	PlaceEnd       time.Time       `json:"place_end"`
	FinishStart    time.Time       `json:"finish_start"`
	FinishEnd      time.Time       `json:"finish_end"`
	FinishFrom     *time.Time      `json:"finish_from"`  // its window opens
	FinishUntil    *time.Time      `json:"finish_until"` // and closes
	InitialSet     *time.Time      `json:"initial_set"`
	FinalSet       *time.Time      `json:"final_set"`
	StripFrom      *time.Time      `json:"strip_from"`
	WalkFrom       *time.Time      `json:"walk_from"`
	CuredBy        *time.Time      `json:"cured_by"`
	Cover          string          `json:"cover"` // planned cover, empty: none
	ChanceUnharmed float64         `json:"chance_unharmed"`
	ChanceDry      float64         `json:"chance_dry"`
	ChanceInspect  float64         `json:"chance_inspect"` // for rain or for drying; the two may come together
	InspectRain    float64         `json:"chance_inspect_rain"`
	InspectDrying  float64         `json:"chance_inspect_drying"`
	UncoverFrom    *time.Time      `json:"uncover_from"` // the cover may come off; null: no cover, or not in sight
	ChipChance     float64         `json:"chip_chance"`  // of chipped edges when stripped at strip_from
	Reason         string          `json:"reason"`       // what most threatens it, worded last
	ReasonData     message.Message `json:"reason_data"`
}

// Severity is how pressing a caution is.
type Severity string

// The severities.
const (
	Note  Severity = "note"
	Watch Severity = "watch"
	Act   Severity = "act"
)

// Caution is a figure near or past a limit, and what to do about it.
type Caution struct {
	Code     string            `json:"code"`
	Severity Severity          `json:"severity"`
	Text     string            `json:"text"`      // worded last
	Data     []message.Message `json:"text_data"` // its sentences, in order
	Figure   *Figure           `json:"figure"`
	Share    *float64          `json:"share"`  // of the members in which it holds, where that is known
	Source   string            `json:"source"` // worded last

	SourceData message.Message `json:"source_data"`
}

// Figure is a computed value beside its limit.
type Figure struct {
	Name  string  `json:"name"` // with its unit, such as slab_min_c
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
}

// Remedy is a change, recomputed, and the verdict that it leads to.
type Remedy struct {
	Change         string          `json:"change"` // worded last
	ChangeData     message.Message `json:"change_data"`
	Verdict        Verdict         `json:"verdict"`
	Score          int             `json:"score"`
	Pads           int             `json:"pads"`            // poured that morning then
	ChanceUnharmed *float64        `json:"chance_unharmed"` // that none of them is lost
	WhatIf         WhatIf          `json:"what_if"`         // the same change, as a question to the planner
}

// ForecastNote is the forecast's provenance, as every morning carries it.
type ForecastNote struct {
	Feed        string     `json:"feed"`
	IssuedAt    *time.Time `json:"issued_at"`
	FetchedAt   time.Time  `json:"fetched_at"`
	AgeMin      int        `json:"age_min"`
	Members     int        `json:"members"`
	Attribution string     `json:"attribution"`
}

// Chart is the hourly figures behind a morning, for drawing.
type Chart struct {
	Hours []ChartHour `json:"hours"`
}

// ChartHour is one hour of a chart; null is unknown.
type ChartHour struct {
	Time       time.Time `json:"time"`
	RainChance *float64  `json:"rain_chance"` // share of members with 0.25 mm or more in the hour
	AirC       *float64  `json:"air_c"`
	SlabC      *float64  `json:"slab_c"` // surface of the first pad planned
	EvapKgM2H  *float64  `json:"evap_kg_m2_h"`
}
