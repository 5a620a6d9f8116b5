package pour

import (
	"math"

	"dryslot/internal/unit"
)

// Limits of lists: far above any job done from bags, low enough that a
// mistaken or hostile document can't hold the planner. Judgement.
const (
	MaxPads       = 500
	MaxFormSets   = 100
	MaxDeliveries = 100
	MaxCovers     = 20
	MaxAfter      = 50
	MaxShades     = 6
)

// DefaultSpec returns a project with every default of the public contract and
// nothing of its own: no name, no place, no pads. Figures are common practice
// for an 80 lb bag (36.3 kg), mixed in a small mixer by one person.
func DefaultSpec() Spec {
	cement, price := UsualCement, 6.5
	return Spec{
		Mix: Mix{
			BagKg: 36.3, YieldLPerBag: 17.0, WaterLPerBag: 2.8, WaterLPerBagMax: 3.8,
			CementFraction: &cement, Cement: "general", Strength28dMPa: 28, PricePerBag: &price, Admixture: NoAdmixture,
		},
		Practice: Practice{BaseCover: NoCover, Curing: "cover"},
		Crew: Crew{
			People: 1, BagsPerHour: 7, StrikeOffMinPerM2: 8, FinishMinPerM2: 12, Finish: "broom",
			SetUpMin: 30, CleanUpMin: 30, EarliestStart: clock(6, 0), LatestFinish: clock(19, 0),
			Days:             []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"},
			VehiclePayloadKg: 600, MovesPerBag: 3,
		},
		Stock:         Stock{Deliveries: []Delivery{}, Covers: []Cover{}},
		Limits:        Limits{RainRisk: 0.10, LostPadDays: 3},
		Alerts:        Alerts{LeadMin: 90, EveningAt: clock(19, 0), QuietUntil: clock(4, 30)},
		Site:          Site{Subgrade: "sand", WindFactor: 0.55, Shade: []Shade{}},
		FormSets:      []FormSet{},
		Pads:          []Pad{},
		WasteFraction: 0.10,
	}
}

// Words of what is not there.
const (
	NoCover     = "none"
	NoAdmixture = "none"
)

// Normalize gives lists that are absent their empty form, so that a project
// reads back the same however it was written.
func (s *Spec) Normalize() {
	if s.Crew.Days == nil {
		s.Crew.Days = []string{}
	}
	if s.Stock.Deliveries == nil {
		s.Stock.Deliveries = []Delivery{}
	}
	if s.Stock.Covers == nil {
		s.Stock.Covers = []Cover{}
	}
	if s.Site.Shade == nil {
		s.Site.Shade = []Shade{}
	}
	// Projects kept before these fields were there have none of them.
	if s.Mix.Admixture == "" {
		s.Mix.Admixture = NoAdmixture
	}
	if s.Practice.BaseCover == "" {
		s.Practice.BaseCover = NoCover
	}
	if s.Practice.Curing == "" {
		s.Practice.Curing = "cover"
	}
	if s.FormSets == nil {
		s.FormSets = []FormSet{}
	}
	if s.Pads == nil {
		s.Pads = []Pad{}
	}
	for i := range s.Pads {
		if s.Pads[i].After == nil {
			s.Pads[i].After = []After{}
		}
	}
}

func clock(hour, minute int) unit.Clock { return unit.Clock(hour*60 + minute) }

// OfBag returns the mix in bags of another weight: yield and water go with the
// weight. Makers of general bagged mix quote 0.60 cubic feet for 80 lb, 0.45 for
// 60 lb and 0.30 for 40 lb, and water alike (common practice).
func (m Mix) OfBag(kg float64) Mix {
	usual := DefaultSpec().Mix
	share := kg / usual.BagKg
	tidy := func(v float64) float64 { return math.Round(v*share*100) / 100 }
	m.BagKg = kg
	m.YieldLPerBag, m.WaterLPerBag, m.WaterLPerBagMax = tidy(usual.YieldLPerBag), tidy(usual.WaterLPerBag),
		tidy(usual.WaterLPerBagMax)
	return m
}
