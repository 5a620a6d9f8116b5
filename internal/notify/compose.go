package notify

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
)

// Wording words one message for whoever the alert goes to; package say does.
type Wording interface {
	Say(m message.Message) string
}

// block is lines that stand together. A line is one or more sentences.
type block []line

type line struct {
	lead      string // such as "- "
	sentences []message.Message
}

func (b *block) add(m ...message.Message) { *b = append(*b, line{sentences: m}) }

// Compose makes an alert for someone who has just woken: what to do first, then
// when, which pads, what to bring, what to watch, and only then why. The same
// brief gives the same words.
func Compose(b Brief, w Wording) (Message, error) {
	f := b.facts()
	f.Reason = w.Say(f.ReasonData)
	f.Cautions = slices.Clone(f.Cautions)
	for i := range f.Cautions {
		f.Cautions[i] = f.Cautions[i].Worded(w.Say)
	}
	f.StandBy = f.StandBy.Worded(w.Say)
	f.Better = f.Better.Worded(w.Say)
	var out Message
	for _, part := range b.content(f) {
		var lines Block
		for _, l := range part {
			var said []string
			for _, m := range l.sentences {
				said = append(said, w.Say(m))
				f.Data = append(f.Data, m)
			}
			text := strings.Join(said, " ")
			lines = append(lines, Line{Text: text, Item: l.lead != "", Link: f.Link != "" && text == f.Link})
		}
		if len(lines) > 0 {
			out.append(lines)
		}
	}
	f.Text = out.Text
	f.SubjectData = b.subject(f)
	var subject []string
	for _, m := range f.SubjectData {
		subject = append(subject, w.Say(m))
	}
	f.Subject = capital(strings.ReplaceAll(strings.Join(subject, " "), nbsp, " "))
	body, err := json.Marshal(Payload{Type: "alert." + string(b.Kind), Timestamp: b.Now.UTC(), Data: f})
	if err != nil {
		return Message{}, fmt.Errorf("notify: payload: %w", err)
	}
	out.ID, out.Subject, out.Payload = MessageID(b.Key), f.Subject, body
	return out, nil
}

// capital writes the first letter large; in Spanish a sign may stand before it.
func capital(s string) string {
	sign := len(s) - len(strings.TrimLeft(s, "¿¡"))
	first, size := utf8.DecodeRuneInString(s[sign:])
	if size == 0 {
		return s
	}
	return s[:sign] + string(unicode.ToUpper(first)) + s[sign+size:]
}

func (b Brief) content(f Facts) []block {
	var test block
	if b.Kind == Test {
		a := b.Project.Alerts
		test.add(message.New(AlertTest, message.Name("project", f.Project), message.Clock("evening", a.EveningAt),
			message.Duration("lead", time.Duration(a.LeadMin)*time.Minute), message.Clock("quiet", a.QuietUntil)))
	}
	var site block
	site.add(message.Stored(f.Project))
	if f.Link != "" {
		site.add(message.Stored(f.Link))
	}
	return []block{test, b.verdict(f), listOf(DayAlso, b.Also), listOf(DayQuestions, b.Questions), b.watch(f), b.why(f),
		b.provenance(f), site}
}

// listOf is a heading with a line for each message; nothing where there is none.
func listOf(heading message.Code, items []message.Message) block {
	var out block
	if len(items) == 0 {
		return out
	}
	out.add(message.New(heading))
	for _, m := range items {
		out = append(out, line{"- ", []message.Message{m}})
	}
	return out
}

// subject is the whole message to someone who reads no further.
func (b Brief) subject(f Facts) []message.Message {
	project := message.Name("project", f.Project)
	if b.Kind == Test {
		return []message.Message{message.New(SubjectTest, project)}
	}
	var out []message.Message
	if b.Sample {
		out = append(out, message.New(SubjectSample))
	}
	if b.Kind == Change {
		out = append(out, message.New(SubjectChanged))
	}
	day := message.Date("", b.Date)
	switch {
	case b.pours():
		code := SubjectPour
		if f.Verdict == job.VerdictCare {
			code = SubjectCare
		}
		out = append(out, named(code, f.Pads, mostInSubject, day, message.At("start", *f.Start)))
	case b.nothingPlanned():
		out = append(out, message.New(SubjectNothing, day))
	default:
		out = append(out, message.New(SubjectHold, day))
	}
	if f.Project != "" { // whoever has two sites must not mix at the wrong one
		out = append(out, message.New(SubjectProject, project))
	}
	return out
}

// How many characters of pads' names a subject and a first line hold: more
// would be cut by a telephone's list of mail, or break the line.
const (
	mostInSubject = 24
	mostInFirst   = 60
)

// named is a message that names the pads, or the one that counts them where
// their names are too long.
func named(code message.Code, pads []string, most int, figures ...message.Figure) message.Message {
	if tooLong(pads, most) {
		return message.New(counting(code), append(figures, message.Count("count", len(pads)))...)
	}
	return message.New(code, append(figures, message.Names("pads", cleanAll(pads)))...)
}

func tooLong(pads []string, most int) bool {
	return utf8.RuneCountInString(strings.Join(cleanAll(pads), ", ")) > most
}

// nothingPlanned reports whether no pad is planned for a morning and none was promised,
// although its weather allows pouring.
func (b Brief) nothingPlanned() bool {
	promised := b.Told != nil && len(b.Told.Pads) > 0 && b.Told.Verdict != job.VerdictHold
	return !b.pours() && b.Morning.Verdict != job.VerdictHold && !promised
}

// verdict says what to do and when.
func (b Brief) verdict(f Facts) block {
	var out block
	day := message.Date("", b.Date)
	switch {
	case b.pours() && f.Verdict == job.VerdictCare:
		out.add(named(AlertCare, f.Pads, mostInFirst, day, message.At("start", *f.Start)))
	case b.pours():
		out.add(named(AlertPour, f.Pads, mostInFirst, day, message.At("start", *f.Start)))
	case b.nothingPlanned():
		out.add(message.New(AlertNothing, day))
	default:
		out.add(message.New(AlertHold, day))
	}
	out.add(b.since()...)
	if b.pours() {
		b.work(&out, f)
	}
	if x := f.StandBy; x != nil {
		out.add(x.Data...)
	}
	if n := b.Next; !b.pours() && n != nil {
		out.add(message.New(AlertNext, message.Date("", n.Date), message.Count("count", len(n.Pads)),
			message.At("start", n.Start)))
	}
	if m := b.turned(); !m.IsZero() {
		out.add(m)
	}
	if late := b.Now.Sub(b.DueAt); !b.DueAt.IsZero() && late > saidLate {
		out.add(message.New(AlertLate, message.At("due", b.DueAt)))
	}
	return out
}

// work is what a crew needs to know of a pour: the order, the times, what to
// bring and what to cover.
func (b Brief) work(out *block, f Facts) {
	var order []message.Message
	switch {
	case tooLong(f.Pads, mostInFirst):
		order = append(order, message.New(AlertOrderOf, message.Names("pads", cleanAll(f.Pads))))
	case len(f.Pads) > 1:
		order = append(order, message.New(AlertOrder))
	}
	if f.LastPlaced != nil {
		order = append(order, message.New(AlertPlacedDone, message.At("placed", *f.LastPlaced),
			message.At("done", *f.DoneBy)))
	} else {
		order = append(order, message.New(AlertDone, message.At("done", *f.DoneBy)))
	}
	out.add(order...)
	if f.LatestStart != nil {
		out.add(message.New(AlertLatest, message.At("latest", *f.LatestStart)))
	}
	if b.Pour.WaterL > 0 {
		out.add(message.New(AlertBring, message.Count("bags", f.Bags), message.Volume("water", b.Pour.WaterL)))
	} else {
		out.add(message.New(AlertBringBags, message.Count("bags", f.Bags)))
	}
	var covers []string
	data := b.Pour.CoversData
	message.WordEach(&covers, &data, message.Message.String)
	for _, c := range data {
		out.add(message.New(AlertCover, message.Within("cover", c)))
	}
}

// since says what an earlier alert said, where that no longer holds.
func (b Brief) since() []message.Message {
	t := b.Told
	if t == nil || b.Kind == Test {
		return nil
	}
	promised := t.Verdict != job.VerdictHold && len(t.Pads) > 0
	switch {
	case b.Kind != Change && b.pours() == promised:
		return nil
	case promised:
		return []message.Message{named(AlertReplacesPour, t.Pads, mostInFirst, message.At("told", t.At),
			message.At("start", t.Start))}
	}
	return []message.Message{message.New(AlertReplacesHold, message.At("told", t.At))}
}

// saidLate is the delay from which a message states it.
const saidLate = 10 * time.Minute

// mostCautions is how many cautions a message gives: more are not read.
const mostCautions = 4

// watch gives the cautions to act on and to watch, the pressing ones first.
func (b Brief) watch(f Facts) block {
	rank := map[job.Severity]int{job.Act: 0, job.Watch: 1}
	var cs []job.Caution
	for _, c := range f.Cautions {
		if _, ok := rank[c.Severity]; ok {
			cs = append(cs, c)
		}
	}
	var out block
	if len(cs) == 0 {
		return out
	}
	slices.SortStableFunc(cs, func(x, y job.Caution) int { return rank[x.Severity] - rank[y.Severity] })
	if b.pours() {
		out.add(message.New(AlertWatch))
	} else {
		out.add(message.New(AlertAgainst))
	}
	for i, c := range cs {
		if i == mostCautions {
			out = append(out, line{itemLead,
				[]message.Message{message.New(AlertMore, message.Count("count", len(cs)-i))}})
			break
		}
		out = append(out, line{itemLead, c.Data})
	}
	return out
}

// why gives the reason in a line, and the chance.
func (b Brief) why(f Facts) block {
	var out block
	if f.ReasonData.IsZero() && f.Chance == nil {
		return out
	}
	if !f.ReasonData.IsZero() {
		code := AlertWhy
		if b.pours() && f.Chance != nil && *f.Chance < 1 && f.ReasonData.Code != job.NothingThreatens {
			code = AlertMainRisk // the reason of a pour is what most threatens it
		}
		out.add(message.New(code, message.Within("why", f.ReasonData)))
	}
	if f.Chance != nil {
		out.add(message.New(AlertChance, message.Chance("", *f.Chance)))
	}
	if b.pours() {
		out.add(message.New(AlertEstimates))
	}
	return out
}

// provenance says where the weather comes from and how old it is.
func (b Brief) provenance(f Facts) block {
	var out block
	if b.Sample {
		out.add(message.New(AlertSampleWeather))
	}
	if b.SetClock {
		out.add(message.New(AlertSetClock))
	}
	n := f.Forecast
	if n == nil {
		out.add(message.New(AlertNoForecast))
		return out
	}
	feed, age := message.Name("feed", clean(n.Feed)), message.Duration("age", time.Duration(n.AgeMin)*time.Minute)
	if n.Members > 1 {
		out.add(message.New(AlertMembers, feed, age, message.Count("members", n.Members)))
	} else {
		out.add(message.New(AlertForecast, feed, age))
	}
	if n.Attribution != "" && !b.Sample {
		out.add(message.Stored(clean(n.Attribution)))
	}
	return out
}

func cleanAll(ss []string) []string {
	out := make([]string, len(ss))
	for i, s := range ss {
		out[i] = clean(s)
	}
	return out
}
