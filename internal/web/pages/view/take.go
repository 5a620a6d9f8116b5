package view

import (
	"html/template"
	"math"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// NewTake returns what a job takes as it is typed: the bags, what they weigh and
// cost, and the mornings that the forms allow at least.
func NewTake(r say.Reader, s pour.Spec) Take {
	t := takeoff.Of(takeoff.Job{Spec: s}).Project
	bags := r.Number(float64(t.Bags), 0)
	mornings := r.Number(float64(leastMornings(s)), 0)
	take := Take{Sketch: sketched(r, s), Sum: []Total{{bags, r.Label(TakeBags)}}, Bill: []Total{
		{r.Figure(message.Volume("", t.VolumeL*(1+s.WasteFraction))),
			said(r, TakeConcrete, message.Chance("waste", s.WasteFraction))},
		{r.Figure(message.Mass("", unit.Kilograms(t.WeightKg))), r.Label(TakeWeight)},
		{r.Figure(message.Volume("", t.WaterL)), r.Label(TakeWater)}}}
	if r.US {
		take.Bill[0].Figure = said(r, TakeCubicFeet, message.Number("value",
			math.Round(t.VolumeL*(1+s.WasteFraction)/unit.LitresPerCubicFoot*10)/10))
	}
	if t.Trips != nil {
		trips := Total{r.Number(float64(*t.Trips), 0), r.Label(TakeTrips)}
		take.Sum, take.Bill = append(take.Sum, trips), append(take.Bill, trips)
	}
	if t.Cost != nil {
		cost := Total{r.Number(math.Round(*t.Cost), 0), r.Label(TakeCost)}
		take.Sum, take.Foot = append(take.Sum, cost), &cost
	}
	least := Total{mornings, r.Label(TakeMornings)}
	take.Sum, take.Bill = append(take.Sum, least), append(take.Bill, least)
	return take
}

// leastMornings is how many mornings the forms ask for where every one holds
// pads on each, and none is stripped for a second time on a day.
func leastMornings(s pour.Spec) int {
	pads := map[string]int{}
	for _, p := range s.Pads {
		if p.FormSet != nil {
			pads[*p.FormSet]++
		}
	}
	least := 1
	for _, f := range s.FormSets {
		if at := f.Holds(); at > 0 {
			least = max(least, (pads[f.Name]+at-1)/at)
		}
	}
	return least
}

func sketched(r say.Reader, s pour.Spec) template.HTML {
	var drawn []draw.PlanPad
	for _, p := range s.Pads {
		drawn = append(drawn, draw.PlanPad{Pad: p, Phase: history.Waiting, Href: "#step-2"})
	}
	return draw.Sketch(drawn, r, 358)
}
