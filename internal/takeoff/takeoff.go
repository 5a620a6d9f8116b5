package takeoff

import (
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Job is what a takeoff follows from.
type Job struct {
	Spec    pour.Spec
	Records []pour.PadRecord // what the log says; a pad without one is waiting
	Pours   []pour.Pour      // of the current plan; none: no plan yet
	Zone    *time.Location   // the project's; nil: UTC
}

// Takeoff is what a project takes. Its JSON form is the public contract.
type Takeoff struct {
	Project Project `json:"project"`
	Pours   []Day   `json:"pours"`
	Pads    []Pad   `json:"pads"`
}

// Amounts is what a pad, a day or a project takes. Volume is that of the
// forms, without waste; bags carry the waste.
type Amounts struct {
	VolumeL   float64  `json:"volume_l"`
	Bags      int      `json:"bags"`
	WaterL    float64  `json:"water_l"`     // by the label
	WaterLMax float64  `json:"water_l_max"` // the most the label allows
	WeightKg  float64  `json:"weight_kg"`   // of the bags
	Cost      *float64 `json:"cost"`        // of the bags, in the builder's currency; null: price unknown
	SandL     *float64 `json:"sand_l"`      // loose sand for the base; null: not asked
	SandKg    *float64 `json:"sand_kg"`
}

// Carrying is the work of moving the bags.
type Carrying struct {
	Trips            *int    `json:"trips"`    // of the vehicle, with whole bags; null: it can't carry one
	MovedKg          float64 `json:"moved_kg"` // each bag counted as often as it is carried
	MovedTPersonHour float64 `json:"moved_t_per_person_hour"`
}

// Project is the whole of it: every pad once, and once more for each time
// that it was lost.
type Project struct {
	Amounts
	Carrying
	// by mass, at the label's water; null: cement unknown
	WaterCementRatio    *float64 `json:"water_cement_ratio"`
	WaterCementRatioMax *float64 `json:"water_cement_ratio_max"`
	// of the 28-day strength; null: no more than the label
	StrengthLossMPa *Range `json:"strength_loss_mpa_at_water_max"`
	BagsToPlace     int    `json:"bags_to_place"` // of pads not placed yet
	// against stock and deliveries; 0 where stock has no limit
	BagsShort int             `json:"bags_short"`
	ShortFrom *unit.Date      `json:"short_from"` // first planned date that lacks bags
	Cautions  []concrete.Rule `json:"cautions"`
}

// Range is a figure known between two ends.
type Range struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Day is what one pour takes: what is left of a bag goes into the next pad.
type Day struct {
	Date unit.Date `json:"date"`
	Pads []string  `json:"pads"`
	Amounts
	Carrying
}

// Pad is what one pad takes when it is placed by itself.
type Pad struct {
	Pad string `json:"pad"`
	Amounts
	Cautions []concrete.Rule `json:"cautions"`
}

// Of returns the takeoff of a project.
func Of(j Job) Takeoff {
	s := j.Spec
	t := Takeoff{Pours: []Day{}, Pads: []Pad{}}
	byName := make(map[string]pour.Pad, len(s.Pads))
	for _, p := range s.Pads {
		byName[p.Name] = p
		t.Pads = append(t.Pads, Pad{Pad: p.Name, Amounts: amounts(s, []pour.Pad{p}), Cautions: padCautions(s, p)})
	}

	groups := split(j, byName)
	project := groups.placed
	bags := 0
	for _, r := range j.Records {
		if p, ok := byName[r.Pad]; ok {
			bags += Used(s, p, r, nil)
		}
	}
	for _, d := range groups.days {
		a := amounts(s, d.pads)
		t.Pours = append(t.Pours, Day{Date: d.date, Pads: names(d.pads), Amounts: a, Carrying: carrying(s, a.Bags)})
		project = append(project, d.pads...)
		bags += a.Bags
		t.Project.BagsToPlace += a.Bags
	}
	rest := PourBags(s, groups.rest)
	project = append(project, groups.rest...)
	t.Project.BagsToPlace += rest
	bags += rest

	t.Project.Amounts = of(s, project, bags)
	t.Project.Carrying = carrying(s, bags)
	ratios(s, &t.Project)
	t.Project.BagsShort, t.Project.ShortFrom = short(j, byName, t.Project.BagsToPlace, t.Pours)
	t.Project.Cautions = projectCautions(s, t.Project)
	return t
}

type group struct {
	date unit.Date
	pads []pour.Pad
}

// groups is a project's castings by when they are made.
type groups struct {
	placed []pour.Pad // already, each time that counts and each loss
	days   []group    // by the plan
	rest   []pour.Pad // without a day
}

// split sorts a project's castings. A day of the plan lists a pad again when
// it was lost; what the log calls placed is not counted again.
func split(j Job, byName map[string]pour.Pad) groups {
	var g groups
	done := make(map[string]bool)
	for _, r := range j.Records {
		p, ok := byName[r.Pad]
		if !ok {
			continue // a pad that is no longer part of the project
		}
		for range r.Losses {
			g.placed = append(g.placed, p)
		}
		switch r.State {
		case pour.Placed, pour.Finished, pour.Stripped, pour.Cured:
			g.placed = append(g.placed, p)
			done[r.Pad] = true
		}
	}
	for _, pr := range j.Pours {
		d := group{date: pr.Date}
		for _, name := range pr.Pads {
			if p, ok := byName[name]; ok && !done[name] {
				d.pads = append(d.pads, p)
				done[name] = true
			}
		}
		if len(d.pads) > 0 {
			g.days = append(g.days, d)
		}
	}
	for _, p := range j.Spec.Pads {
		if !done[p.Name] {
			g.rest = append(g.rest, p)
		}
	}
	return g
}
