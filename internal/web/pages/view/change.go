package view

import (
	"strconv"

	"dryslot/internal/message"
)

// Change is the page that changes a project's crew, hours and alerts, or
// removes it.
type Change struct {
	Frame
	Wrong    []Fault
	Groups   []Group
	Action   string
	Revision int64 // that was read: a change of another one is refused
}

func (Change) template() string { return "change" }

// NewChange makes the form from the project as it is, or with what was given
// still in it.
func NewChange(s Setting, given Answers, wrong []Fault) Change {
	p, r := s.Project, s.Reader
	x := fields{r}
	price, bags := "", ""
	if p.Mix.PricePerBag != nil {
		price = short(*p.Mix.PricePerBag)
	}
	if p.Stock.BagsOnHand != nil {
		bags = strconv.Itoa(*p.Stock.BagsOnHand)
	}
	page := Change{Frame: s.frame(s.say(ChangePage), ""), Action: s.href("/change"), Revision: p.Revision, Groups: []Group{
		x.group(GroupJob, x.text("name", FieldName, "", p.Name), x.choice("language", FieldLanguage, x.languages()...),
			x.number("risk", FieldRisk, HintRisk, short(p.Limits.RainRisk*100))),
		x.group(GroupCrew, x.number("people", FieldPeople, "", strconv.Itoa(p.Crew.People)),
			x.number("rate", FieldRate, "", short(p.Crew.BagsPerHour)),
			x.text("earliest", FieldEarliest, HintTime, r.ClockOf(p.Crew.EarliestStart)),
			x.text("latest", FieldLatest, "", r.ClockOf(p.Crew.LatestFinish))),
		x.group(GroupBags, optional(x.number("bags", FieldStock, HintStock, bags)),
			optional(x.number("price", FieldPrice, HintOptional, price))),
		x.group(GroupAlerts, x.text("evening", FieldEvening, HintTime, r.ClockOf(p.Alerts.EveningAt)),
			x.number("lead", FieldLead, "", strconv.Itoa(p.Alerts.LeadMin)),
			x.text("quiet", FieldQuiet, "", r.ClockOf(p.Alerts.QuietUntil))),
	}}
	language := s.Reader.Language
	if p.Language != nil {
		language = *p.Language
	}
	fill(page.Groups, func(name string) (string, bool) { return language, name == "language" }, nil)
	fill(page.Groups, given, wrong)
	page.Wrong = inOrder(page.Groups, wrong)
	if len(wrong) > 0 {
		page.Title = s.say(PageNotYet, message.Text("page", page.Title))
	}
	return page
}
