package notify

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// DayBrief is all that the words of an alert of the day itself are made from.
type DayBrief struct {
	Key      string // of the delivery
	First    string // of the first delivery of the same occasion: repeats carry its id
	Again    int    // how often it was sent before
	Project  pour.Project
	Zone     *time.Location
	Now      time.Time
	Told     []Live // that fall together; Rank puts the pressing ones first
	Link     string // to the page of the project
	Sample   bool   // invented weather
	SetClock bool   // the service's clock was set, not the wall's
}

// DayFacts are the same facts that the text of an alert of the day gives.
type DayFacts struct {
	Key         string            `json:"key"`
	Kind        Kind              `json:"kind"`
	Kinds       []Kind            `json:"kinds"` // all that fall together
	ProjectID   string            `json:"project_id"`
	Project     string            `json:"project"`
	Date        unit.Date         `json:"date"`
	Urgent      bool              `json:"urgent"`
	OfUseTill   *time.Time        `json:"of_use_until"` // null: as long as its cause holds
	Again       int               `json:"sent_before"`
	Actions     []DayAction       `json:"actions"`
	Sample      bool              `json:"sample_weather"`
	SetClock    bool              `json:"set_clock"`
	Link        string            `json:"link"`
	Subject     string            `json:"subject"`
	SubjectData []message.Message `json:"subject_data"`
	Text        string            `json:"text"`
	Data        []message.Message `json:"text_data"` // the sentences of Text, in order
}

// DayAction is an entry of the log that answers an alert.
type DayAction struct {
	Title string         `json:"title"`
	Kind  pour.EntryKind `json:"kind"`
	Pads  []string       `json:"pads,omitempty"`
	Cover string         `json:"cover,omitempty"`
}

// dayPayload is the body of a webhook, of the same form as Payload.
type dayPayload struct {
	Type      string    `json:"type"` // alert. and the kind
	Timestamp time.Time `json:"timestamp"`
	Data      DayFacts  `json:"data"`
}

// ranks are the kinds of the day itself, the pressing ones first.
var ranks = []Kind{Rain, Thunder, Stop, Resume, Dusk, Gust, Drying, Ready, Earlier, NotStarted, Strip, Uncover, Damp}

// Rank sorts occasions by how pressing they are.
func Rank(all []Live) {
	slices.SortStableFunc(all, func(a, b Live) int { return slices.Index(ranks, a.Kind) - slices.Index(ranks, b.Kind) })
}

// UsedBy is the latest instant until which one of its occasions is of use; zero: the
// alert is of use as long as a cause holds.
func (b DayBrief) UsedBy() (at time.Time) {
	for _, x := range b.Told {
		if x.UsedBy.IsZero() {
			return time.Time{}
		}
		if x.UsedBy.After(at) {
			at = x.UsedBy
		}
	}
	return at
}

// mostActions is what a phone's notification holds.
const mostActions = 2

// actions are those of the most pressing occasion that has any.
func (b DayBrief) actions() []Action {
	for _, x := range b.Told {
		if len(x.Actions) > 0 {
			return x.Actions[:min(mostActions, len(x.Actions))]
		}
	}
	return nil
}

// Compose makes the message: what to do first, then why, one occasion after the
// other. The same brief gives the same words.
func (b DayBrief) Compose(w Wording) (Message, error) {
	lead := b.Told[0]
	f := DayFacts{Key: b.Key, Kind: lead.Kind, ProjectID: b.Project.ID, Project: clean(b.Project.Name), Date: lead.Date,
		Again: b.Again, Actions: []DayAction{}, Sample: b.Sample, SetClock: b.SetClock, Link: b.Link}
	for _, x := range b.Told {
		f.Kinds = append(f.Kinds, x.Kind)
		f.Urgent = f.Urgent || x.Urgent(b.Now)
	}
	if at := b.UsedBy(); !at.IsZero() {
		at = at.In(b.Zone)
		f.OfUseTill = &at
	}
	for _, a := range b.actions() {
		f.Actions = append(f.Actions, DayAction{Title: w.Say(a.Title), Kind: a.Kind, Pads: a.Pads, Cover: a.Cover})
	}
	var parts []string
	for _, part := range b.content(f) {
		var text strings.Builder
		for _, l := range part {
			var said []string
			for _, m := range l.sentences {
				said = append(said, together(w.Say(m)))
				f.Data = append(f.Data, m)
			}
			text.WriteString(wrap(l.lead, strings.Join(said, " ")))
		}
		if text.Len() > 0 {
			parts = append(parts, text.String())
		}
	}
	f.Text = strings.Join(parts, "\n")
	if b.Sample {
		f.SubjectData = append(f.SubjectData, message.New(SubjectSample))
	}
	f.SubjectData = append(f.SubjectData, shortened(lead.Subject))
	if f.Project != "" { // whoever has two sites must not cover at the wrong one
		f.SubjectData = append(f.SubjectData, message.New(SubjectProject, message.Name("project", f.Project)))
	}
	var subject []string
	for _, m := range f.SubjectData {
		subject = append(subject, w.Say(m))
	}
	f.Subject = capital(strings.ReplaceAll(strings.Join(subject, " "), nbsp, " "))
	body, err := json.Marshal(dayPayload{Type: "alert." + string(lead.Kind), Timestamp: b.Now.UTC(), Data: f})
	if err != nil {
		return Message{}, fmt.Errorf("notify: payload: %w", err)
	}
	return Message{ID: MessageID(b.First), Subject: f.Subject, Text: f.Text, Payload: body, Urgent: f.Urgent,
		Link: b.Link, UsedBy: b.UsedBy(), Actions: f.Actions}, nil
}

func (b DayBrief) content(f DayFacts) []block {
	var what, site, notes block
	for _, x := range b.Told {
		for _, m := range x.Lines {
			what.add(m)
		}
	}
	if b.Again > 0 {
		what.add(message.New(DayAgain, message.Count("count", b.Again)))
	}
	if b.Sample {
		notes.add(message.New(AlertSampleWeather))
	}
	if b.SetClock {
		notes.add(message.New(AlertSetClock))
	}
	site.add(message.Stored(f.Project))
	if f.Link != "" {
		site.add(message.Stored(f.Link))
	}
	return []block{what, notes, site}
}

// shortened counts the pads of a subject where their names are too long for it.
func shortened(m message.Message) message.Message {
	pads, ok := m.Figures.Get("pads").(message.List)
	if !ok || !tooLong(pads, mostInSubject) {
		return m
	}
	out := message.New(counting(m.Code), message.Count("count", len(pads)))
	for _, f := range m.Figures {
		if f.Name != "pads" {
			out = out.With(f)
		}
	}
	return out
}
