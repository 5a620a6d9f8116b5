package view

import (
	"fmt"
	"strconv"
)

// Change is the page that changes a project's crew, hours and alerts, or
// removes it.
type Change struct {
	Frame    Frame
	Wrong    []Fault
	Groups   []Group
	Action   string
	Revision int64 // that was read: a change of another one is refused
}

func (Change) template() string { return "change" }

// NewChange makes the form from the project as it is, or with what was given
// still in it.
func NewChange(s Setting, given func(name string) (string, bool), wrong []Fault) Change {
	p := s.Project
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }
	price, bags := "", ""
	if p.Mix.PricePerBag != nil {
		price = num(*p.Mix.PricePerBag)
	}
	if p.Stock.BagsOnHand != nil {
		bags = strconv.Itoa(*p.Stock.BagsOnHand)
	}
	page := Change{Frame: s.frame("Change this job", ""), Action: s.href("/change"), Revision: p.Revision, Groups: []Group{
		{"The job", []Field{
			{Name: "name", Label: "Name of the job", Value: p.Name, Required: true},
			{Name: "risk", Label: "Chance of losing a pad that you accept, in %", Hint: "a pour at a higher one is not planned", Value: num(p.Limits.RainRisk * 100), Number: true, Required: true}}},
		{"The crew", []Field{
			{Name: "people", Label: "People", Value: strconv.Itoa(p.Crew.People), Number: true, Required: true},
			{Name: "rate", Label: "Bags that one person mixes and places in an hour", Value: num(p.Crew.BagsPerHour), Number: true, Required: true},
			{Name: "earliest", Label: "Earliest start", Hint: "HH:MM", Value: p.Crew.EarliestStart.String(), Required: true},
			{Name: "latest", Label: "Latest finish", Hint: "HH:MM", Value: p.Crew.LatestFinish.String(), Required: true}}},
		{"The bags", []Field{
			{Name: "bags", Label: "Bags on hand, as last counted", Hint: "another number counts from now on; left out, they are no limit", Value: bags, Number: true},
			{Name: "price", Label: "Price of a bag", Hint: "may be left out", Value: price, Number: true}}},
		{"The word before first light", []Field{
			{Name: "evening", Label: "The evening before, at", Hint: "HH:MM", Value: p.Alerts.EveningAt.String(), Required: true},
			{Name: "lead", Label: "Minutes before a planned start", Value: fmt.Sprint(p.Alerts.LeadMin), Number: true, Required: true},
			{Name: "quiet", Label: "But not before", Hint: "HH:MM", Value: p.Alerts.QuietUntil.String(), Required: true}}},
	}}
	fill(page.Groups, given, wrong)
	page.Wrong = inOrder(page.Groups, wrong)
	if len(wrong) > 0 {
		page.Frame.Title = "Not yet: " + page.Frame.Title
	}
	return page
}
