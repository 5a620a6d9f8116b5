package notify

import (
	"slices"
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Brief is all that the words of one alert are made from.
type Brief struct {
	Key      string
	Kind     Kind
	Project  pour.Project
	Zone     *time.Location
	Date     unit.Date   // the morning that it is about
	Now      time.Time   // of wording
	DueAt    time.Time   // when it should have been said; well before Now: said late
	Morning  job.Morning // as scored, already lowered for the forecast's age
	Pour     *pour.Pour  // planned for the date; nil: none
	Next     *pour.Pour  // the next planned after the date; nil: none
	Told     *Told       // what the last alert said of the date; nil: there was none
	Link     string      // to the page of the project
	Sample   bool        // invented weather
	SetClock bool        // the service's clock was set, not the wall's

	Also      []message.Message // of the morning: what pads of days before ask for
	Questions []message.Message // of the evening: what the log leaves open
}

// Told is what an alert said of a morning, as it is kept with the alert.
type Told struct {
	Kind    Kind
	At      time.Time
	Verdict job.Verdict
	Start   time.Time // of the planned pour; zero: none was planned
	Latest  time.Time // when it could be begun at the latest; zero: at Start, or not known
	Pads    []string  // in the order of placing
}

// Payload is an alert as data, the body of a webhook. Its form follows
// Standard Webhooks: a type, a time, and the facts.
type Payload struct {
	Type      string    `json:"type"` // alert.evening, alert.morning, alert.change or alert.test
	Timestamp time.Time `json:"timestamp"`
	Data      Facts     `json:"data"`
}

// Facts are the same facts that the text of the message gives.
type Facts struct {
	Key         string            `json:"key"`
	Kind        Kind              `json:"kind"`
	ProjectID   string            `json:"project_id"`
	Project     string            `json:"project"`
	Date        unit.Date         `json:"date"`
	Verdict     job.Verdict       `json:"verdict"` // hold when no pour is planned
	Start       *time.Time        `json:"start"`   // of the planned pour; null: none
	LatestStart *time.Time        `json:"latest_start"`
	LastPlaced  *time.Time        `json:"last_placed"`
	DoneBy      *time.Time        `json:"done_by"`
	Pads        []string          `json:"pads"` // in the order of placing
	Bags        int               `json:"bags"`
	Chance      *float64          `json:"chance_unharmed"`
	Reason      string            `json:"reason"`
	ReasonData  message.Message   `json:"reason_data"`
	Cautions    []job.Caution     `json:"cautions"`
	StandBy     *job.StandBy      `json:"stand_by,omitempty"` // what a crew makes of showers; left out: it stays dry
	NextPour    *unit.Date        `json:"next_pour"`
	Better      *pour.Option      `json:"better"` // the nearest better option; null: none
	Forecast    *job.ForecastNote `json:"forecast"`
	Sample      bool              `json:"sample_weather"`
	SetClock    bool              `json:"set_clock"`
	Link        string            `json:"link"`
	Text        string            `json:"text"`
	Subject     string            `json:"subject"`
	SubjectData []message.Message `json:"subject_data"`
	Data        []message.Message `json:"text_data"` // the sentences of Text, in order
}

// pours reports whether the brief says to pour: a pour is planned and the
// morning bears it.
func (b Brief) pours() bool {
	return b.Pour != nil && len(b.Pour.Pads) > 0 && b.Morning.Verdict != job.VerdictHold
}

// startedTogether is how far two starts may differ and still be the same plan
// to a builder: a change of start of less than this wakes nobody (judgement).
const startedTogether = 30 * time.Minute

// Changed reports whether what b would say now differs from what was sent in
// a way that a builder would act on: pour or not, which pads, or a start moved
// by half an hour or more before it came. Pads that have been placed since do
// not count; done names them. A start that has passed only moves because
// nothing was logged: whoever is at work needs no word of that.
func (b Brief) Changed(done func(pad string) bool) bool {
	if b.Told == nil {
		return false
	}
	left := func(pads []string) []string {
		out := slices.DeleteFunc(slices.Clone(pads), done)
		slices.Sort(out)
		return out
	}
	var now []string
	if b.pours() {
		now = left(b.Pour.Pads)
	}
	then := left(b.Told.Pads)
	if b.Told.Verdict == job.VerdictHold {
		then = nil
	}
	if !slices.Equal(now, then) {
		return true
	}
	if len(now) == 0 || len(then) != len(b.Told.Pads) || !b.Now.Before(b.Told.Start) {
		return false // nothing to pour either way, or the work has begun
	}
	if unit.DateOf(b.Now, b.Zone).Before(b.Date) && b.Pour.Start.After(b.Told.Start) &&
		!b.Pour.Start.After(b.Told.Latest) {
		return false // a later start that the evening's alert gave as possible: the morning's alert says it
	}
	return b.Pour.Start.Sub(b.Told.Start).Abs() >= startedTogether
}

// Says is what an alert composed of this brief says of its date. The next alert is
// compared with it.
func (b Brief) Says() Told {
	f := b.facts()
	t := Told{Kind: b.Kind, At: b.Now, Verdict: f.Verdict, Pads: f.Pads}
	if f.Start != nil {
		t.Start = *f.Start
	}
	if f.LatestStart != nil {
		t.Latest = *f.LatestStart
	}
	return t
}

// facts gathers what is to be said.
func (b Brief) facts() Facts {
	in := func(t time.Time) *time.Time {
		t = t.In(b.Zone)
		return &t
	}
	f := Facts{Key: b.Key, Kind: b.Kind, ProjectID: b.Project.ID, Project: clean(b.Project.Name), Date: b.Date,
		Verdict: job.VerdictHold, Pads: []string{}, ReasonData: message.OrStored(b.Morning.ReasonData,
			b.Morning.Reason),
		Cautions: b.Morning.Cautions, StandBy: b.Morning.StandBy,
		Forecast: b.Morning.Forecast, Sample: b.Sample, SetClock: b.SetClock, Link: b.Link, Better: b.Morning.Better}
	if f.Cautions == nil {
		f.Cautions = []job.Caution{}
	}
	if b.Next != nil {
		f.NextPour = &b.Next.Date
	}
	if !b.pours() {
		return f
	}
	p := b.Pour
	f.Verdict, f.Pads, f.Bags = b.Morning.Verdict, p.Pads, p.Bags
	f.Start, f.DoneBy, f.Chance = in(p.Start), in(p.End), &p.ChanceUnharmed
	if w := b.Morning.Window; w != nil && w.LatestStart.After(p.Start) {
		f.LatestStart = in(w.LatestStart)
	}
	var last time.Time
	for _, pad := range b.Morning.Pads {
		if slices.Contains(p.Pads, pad.Pad) && pad.PlaceEnd.After(last) {
			last = pad.PlaceEnd
		}
	}
	if !last.IsZero() {
		f.LastPlaced = in(last)
	}
	if p.Why != "" || !p.WhyData.IsZero() {
		f.ReasonData = message.OrStored(p.WhyData, p.Why)
	}
	return f
}
