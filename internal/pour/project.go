// Package pour owns the nouns of the work: projects, pads, the mix, the crew,
// form sets, stock, the log of what happened, and plans; and what makes each
// valid. Its structs are plain and their JSON form is the public contract.
//
//	spec := pour.DefaultSpec()
//	err := json.Unmarshal(body, &spec)
//	err = spec.Validate()
package pour

import (
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Project is a place with its pads, mix and crew, as kept.
type Project struct {
	ID          string    `json:"id"`
	Account     string    `json:"-"`
	Revision    int64     `json:"revision"` // one more at every change; the ETag
	CalendarKey string    `json:"-"`        // secret part of the calendar's address
	CreatedAt   time.Time `json:"-"`
	Spec
}

// Spec is what a builder enters of a project. All is SI; units stand in the names.
type Spec struct {
	Name       string   `json:"name" required:"true"`
	Latitude   float64  `json:"latitude" required:"true"`
	Longitude  float64  `json:"longitude" required:"true"`
	ElevationM *float64 `json:"elevation_m"`
	TimeZone   string   `json:"time_zone"` // IANA name; found from the coordinates when empty
	Units      string   `json:"units"`     // us or metric; found from the zone when empty
	Language   *string  `json:"language"`  // of alerts, one of Languages; null: English

	Mix      Mix       `json:"mix"`
	Crew     Crew      `json:"crew"`
	Practice Practice  `json:"practice"`
	Stock    Stock     `json:"stock"`
	Limits   Limits    `json:"limits"`
	Alerts   Alerts    `json:"alerts"`
	Site     Site      `json:"site"`
	FormSets []FormSet `json:"form_sets"`
	Pads     []Pad     `json:"pads" required:"true"`

	WasteFraction float64 `json:"waste_fraction"` // 0 to 0.5, bought over the forms' volume
}

// Mix is one kind of bagged concrete and the water that it takes.
type Mix struct {
	BagKg             float64  `json:"bag_kg"`
	YieldLPerBag      float64  `json:"yield_l_per_bag"`
	WaterLPerBag      float64  `json:"water_l_per_bag"`
	WaterLPerBagMax   float64  `json:"water_l_per_bag_max"`
	CementFraction    *float64 `json:"cement_fraction"` // of the bag's mass; null: unknown
	Cement            string   `json:"cement"`          // general, rapid or slow
	Strength28dMPa    float64  `json:"strength_28d_mpa"`
	BagTemperatureC   *float64 `json:"bag_temperature_c"`   // null: taken as the air's of the last day
	WaterTemperatureC *float64 `json:"water_temperature_c"` // null: taken as the air's of the last days, not below 5
	PricePerBag       *float64 `json:"price_per_bag"`

	Admixture string `json:"admixture"` // none, retarder or accelerator
	// as the label has it at room temperature; null: as the cement
	LabelInitialSetMin *float64 `json:"label_initial_set_min"`
	LabelWalkOnH       *float64 `json:"label_walk_on_h"`      // the same; null: as the cement
	WaterUsedLPerBag   *float64 `json:"water_used_l_per_bag"` // measured at the mixer; null: as the slump or the label
	SlumpMM            *float64 `json:"slump_mm"`             // asked for; null: that of the label's water
}

// Practice is what the crew does to the base, against drying, and to cure.
type Practice struct {
	BaseCover       string   `json:"base_cover"`       // on the base the night before: none, plastic or blanket
	BaseWetted      bool     `json:"base_wetted"`      // damp, without puddles, when the concrete comes
	Windbreak       bool     `json:"windbreak"`        // these four until the finish is done
	Shade           bool     `json:"shade"`            //
	EvaporationFilm bool     `json:"evaporation_film"` //
	Fogging         bool     `json:"fogging"`          //
	Curing          string   `json:"curing"`           // cover, compound, wet or none
	CuringDays      *float64 `json:"curing_days"`      // kept up for; null: as long as the concrete needs
}

// UsualCement is the cement in a bag's mass where it is not given (from memory:
// 14 to 18 % for general bagged mixes).
const UsualCement = 0.15

// CementShare returns the cement in a bag's mass, 0 to 1; known is false where
// the usual share stands for it.
func (m Mix) CementShare() (share float64, known bool) {
	if m.CementFraction == nil {
		return UsualCement, false
	}
	return *m.CementFraction, true
}

// Crew is who does the work, how fast, and when they may.
type Crew struct {
	People            int        `json:"people"`
	BagsPerHour       float64    `json:"bags_per_hour"` // mixed and placed by one person
	StrikeOffMinPerM2 float64    `json:"strike_off_min_per_m2"`
	FinishMinPerM2    float64    `json:"finish_min_per_m2"`
	Finish            string     `json:"finish"` // broom or trowel
	SetUpMin          float64    `json:"set_up_min"`
	CleanUpMin        float64    `json:"clean_up_min"`
	EarliestStart     unit.Clock `json:"earliest_start"`
	LatestFinish      unit.Clock `json:"latest_finish"`
	Days              []string   `json:"days"` // mon .. sun
	VehiclePayloadKg  float64    `json:"vehicle_payload_kg"`
	MovesPerBag       float64    `json:"moves_per_bag"` // times that each bag is carried
}

// WorksOn reports whether the crew works on the weekday of a date.
func (c Crew) WorksOn(d unit.Date) bool {
	weekdays := [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}
	return slices.Contains(c.Days, weekdays[d.Weekday()])
}

// Kinds of covers.
const (
	Plastic = "plastic"
	Burlap  = "burlap"
	Blanket = "blanket"
)

// Stock is the material and the covers on hand or to come. The bags are those
// counted at CountedAt: pads placed after it take theirs, and deliveries whose
// day begins at it or later come on top. What was placed or delivered earlier
// is in the count.
type Stock struct {
	BagsOnHand *int       `json:"bags_on_hand" doc:"Bags at counted_at, less those placed since. null: no limit"`
	CountedAt  *time.Time `json:"counted_at" doc:"Left out with a new count: now; in a new project: when its day began"`
	Deliveries []Delivery `json:"deliveries" doc:"Bags that come on a date, usable from that morning on"`
	Covers     []Cover    `json:"covers"`
}

// BagsBy returns the bags that were counted and those delivered since, up to a
// date in a zone; limited is false where the stock has no limit.
func (k Stock) BagsBy(date unit.Date, zone *time.Location) (bags int, limited bool) {
	if k.BagsOnHand == nil {
		return 0, false
	}
	bags = *k.BagsOnHand
	for _, x := range k.Deliveries {
		if !date.Before(x.Date) && (k.CountedAt == nil || !x.Date.At(0, zone).Before(*k.CountedAt)) {
			bags += x.Bags
		}
	}
	return bags, true
}

// Delivery is a number of bags that come on a date, usable from that morning on.
type Delivery struct {
	Date unit.Date `json:"date" required:"true"`
	Bags int       `json:"bags" required:"true"`
}

// Cover is something to lay over finished pads.
type Cover struct {
	Kind           string   `json:"kind" required:"true"` // plastic, burlap or blanket
	Pads           int      `json:"pads" required:"true"` // how many pads it covers at a time
	ResistanceM2KW *float64 `json:"resistance_m2k_w"`
	AreaM2         *float64 `json:"area_m2"` // of a blanket, in all; null: pads says how far it goes
}

// Limits is what the builder is ready to risk.
type Limits struct {
	RainRisk    float64 `json:"rain_risk"`     // chance of losing a pad that may not be passed, 0 to 1
	LostPadDays float64 `json:"lost_pad_days"` // days that a lost pad counts as
	// heaviest rain in mm in an hour that a soft pad is taken to bear; null: the rule of the design
	Harm *float64 `json:"harm"`
}

// Alerts says when to send word.
type Alerts struct {
	LeadMin    int        `json:"lead_min"` // minutes before the planned start
	EveningAt  unit.Clock `json:"evening_at"`
	QuietUntil unit.Clock `json:"quiet_until"` // no ordinary alert before this time
}

// Site is what the ground and the shelter do to the pads.
type Site struct {
	Subgrade          string      `json:"subgrade"`    // sand, gravel, clay, soil or insulated
	WindFactor        float64     `json:"wind_factor"` // wind at the slab over wind at 10 m, 0 to 1
	MorningShadeUntil *unit.Clock `json:"morning_shade_until"`
	// from when on no direct sun falls on the pads; null: until sunset
	AfternoonShadeFrom *unit.Clock `json:"afternoon_shade_from"`
	Shade              []Shade     `json:"shade"`        // other hours of the day without direct sun
	BaseCovered        bool        `json:"base_covered"` // the night before, by plastic unless practice says by what
	// mean depth of hollows below the forms' bottom, filled with concrete
	UnevenBaseM float64  `json:"uneven_base_m"`
	BaseSandM   *float64 `json:"base_sand_m"` // compacted sand to lay under the pads; null: not asked
}

// Shade is a time of each day in which no direct sun falls on the pads.
type Shade struct {
	From  unit.Clock `json:"from" required:"true"`
	Until unit.Clock `json:"until" required:"true"`
}

// Pad is one slab cast in its own form.
type Pad struct {
	Name           string   `json:"name" required:"true"`
	LengthM        float64  `json:"length_m" required:"true"`
	WidthM         float64  `json:"width_m" required:"true"`
	ThicknessM     float64  `json:"thickness_m" required:"true"`
	EdgeThicknessM *float64 `json:"edge_thickness_m"` // of a thickened edge; null: none
	XM             float64  `json:"x_m"`              // of the corner nearest the origin, on the builder's sketch
	YM             float64  `json:"y_m"`
	FormSet        *string  `json:"form_set"` // null: forms of its own
	After          []After  `json:"after"`
}

// AreaM2 returns the pad's area in square metres.
func (p Pad) AreaM2() float64 { return p.LengthM * p.WidthM }

// After says that a pad can be poured only when another has come so far.
type After struct {
	Pad   string `json:"pad" required:"true"`
	Until State  `json:"until" required:"true"` // placed, finished, stripped or cured
}

// State is how far a pad has come.
type State string

// The states of a pad.
const (
	Waiting  State = "waiting"
	Formed   State = "formed"
	Placed   State = "placed"
	Finished State = "finished"
	Stripped State = "stripped"
	Cured    State = "cured"
	Lost     State = "lost" // to be broken out and poured again
)

// Casting is one time that a pad was placed.
type Casting struct {
	At   time.Time
	Bags *float64 // as logged; nil: not given
}

// PadRecord is what the log says of one pad.
type PadRecord struct {
	Pad        string
	State      State
	PlacedAt   *time.Time // of the pour that counts, not of one that was lost
	FinishedAt *time.Time
	StrippedAt *time.Time
	CuredAt    *time.Time
	LostAt     *time.Time // of the last loss, while the pad is not poured again
	Losses     int
	Castings   []Casting // each time that it was placed, lost ones too, in order
	Inspect    string    // why to look at it again, empty when there is no reason
	// InspectData is Inspect before it is worded; zero of what was kept as text.
	InspectData message.Message
}

// Move puts the job at another place: its zone and, where it is not given, its
// height are found anew.
func (s *Spec) Move(latitude, longitude float64, elevationM *float64) {
	s.Latitude, s.Longitude, s.ElevationM, s.TimeZone = latitude, longitude, elevationM, ""
}

// BaseCover is what lies on the base the night before: plastic or blanket, else
// NoCover.
func (s *Spec) BaseCover() string {
	if s.Site.BaseCovered && s.Practice.BaseCover == NoCover {
		return Plastic
	}
	return s.Practice.BaseCover
}
