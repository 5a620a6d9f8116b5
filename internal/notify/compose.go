package notify

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"dryslot/internal/planner"
	"dryslot/internal/unit"
)

// Compose words an alert for someone who has just woken: the verdict first,
// then when to start, which pads, when to be done, what to watch, and only
// then why. The same brief gives the same words.
func Compose(b Brief) (Message, error) {
	f := b.facts()
	var text strings.Builder
	if b.Kind == Test {
		text.WriteString(wrap("", fmt.Sprintf("This is a test: word about %s will reach you here, at %s the evening before, "+
			"and %d minutes before a planned start, never before %s. Nothing needs doing. As it stands now:",
			f.Project, b.Project.Alerts.EveningAt, b.Project.Alerts.LeadMin, b.Project.Alerts.QuietUntil)) + "\n")
	}
	b.verdict(&text, f)
	b.watch(&text, f)
	b.why(&text, f)
	b.provenance(&text, f)
	f.Text = text.String()
	body, err := json.Marshal(Payload{Type: "alert." + string(b.Kind), Timestamp: b.Now.UTC(), Data: f})
	if err != nil {
		return Message{}, fmt.Errorf("notify: payload: %w", err)
	}
	return Message{ID: MessageID(b.Key), Subject: b.subject(f), Text: f.Text, Payload: body}, nil
}

// subject is the whole message to someone who reads no further.
func (b Brief) subject(f Facts) string {
	s := ""
	switch {
	case b.Kind == Test:
		return "Test: word about " + f.Project + " reaches you"
	case b.Kind == Change:
		s = "Changed: "
	}
	if b.Sample {
		s = "Sample: " + s
	}
	day := b.Date.Weekday().String()
	switch {
	case b.pours() && f.Verdict == planner.VerdictCare:
		s += fmt.Sprintf("pour with care %s %s: %s", day, b.clock(*f.Start), padWords(f.Pads, mostInSubject))
	case b.pours():
		s += fmt.Sprintf("pour %s %s: %s", day, b.clock(*f.Start), padWords(f.Pads, mostInSubject))
	case b.nothingPlanned():
		s += "nothing to pour " + day
	default:
		s += "hold " + day + ", do not mix"
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if f.Project != "" {
		s += " (" + f.Project + ")" // whoever has two sites must not mix at the wrong one
	}
	return s
}

// How many characters of pads' names a subject and a first line hold: more
// would be cut by a telephone's list of mail, or break the line.
const (
	mostInSubject = 24
	mostInFirst   = 60
)

// padWords names the pads, or counts them where their names are too long.
func padWords(pads []string, most int) string {
	names := strings.Join(cleanAll(pads), ", ")
	if utf8.RuneCountInString(names) > most {
		return counted(len(pads), "pad")
	}
	return names
}

// nothingPlanned tells a morning that would do, on which no pad is planned
// and none was promised, from one that must not be used.
func (b Brief) nothingPlanned() bool {
	promised := b.Told != nil && len(b.Told.Pads) > 0 && b.Told.Verdict != planner.VerdictHold
	return !b.pours() && b.Morning.Verdict != planner.VerdictHold && !promised
}

// verdict says what to do and when.
func (b Brief) verdict(text *strings.Builder, f Facts) {
	say := func(format string, a ...any) { text.WriteString(wrap("", fmt.Sprintf(format, a...))) }
	day := b.reader().Day(b.Date)
	switch {
	case b.pours():
		what := "POUR"
		if f.Verdict == planner.VerdictCare {
			what = "POUR WITH CARE"
		}
		say("%s %s, start %s: %s.", what, day, b.clock(*f.Start), padWords(f.Pads, mostInFirst))
	case b.nothingPlanned():
		say("NOTHING TO POUR %s.", day)
	default:
		say("HOLD %s: do not mix.", day)
	}
	b.since(say)
	if b.pours() {
		order := ""
		switch named := padWords(f.Pads, mostInFirst) == strings.Join(cleanAll(f.Pads), ", "); {
		case !named:
			order = capital(counted(len(f.Pads), "pad")) + ", in this order: " + strings.Join(cleanAll(f.Pads), ", ") + ". "
		case len(f.Pads) > 1:
			order = capital(counted(len(f.Pads), "pad")) + ", in this order. "
		}
		done := "All done by " + b.clock(*f.DoneBy) + "."
		if f.LastPlaced != nil {
			done = "Last pad placed by " + b.clock(*f.LastPlaced) + ", all done by " + b.clock(*f.DoneBy) + "."
		}
		say("%s%s", order, done)
		if f.LatestStart != nil {
			say("A later start, up to %s, ends as much later.", b.clock(*f.LatestStart))
		}
		say("Have ready: %s%s, %s.", fmt.Sprintf("%d"+nbsp+"%s", f.Bags, plural(f.Bags, "bag", "bags")), b.water(), wear)
		for _, c := range b.Pour.Covers {
			say("Cover: %s.", strings.TrimSuffix(clean(c), "."))
		}
	}
	if !b.pours() && b.Next != nil {
		say("Next pour planned: %s, %s, start %s.", strings.TrimPrefix(b.reader().Day(b.Next.Date), "on "), counted(len(b.Next.Pads), "pad"), b.clock(b.Next.Start))
	}
	if w := b.turned(); w != "" {
		say("%s", w)
	}
	if late := b.Now.Sub(b.DueAt); !b.DueAt.IsZero() && late > saidLate {
		say("This word is late: it was due %s.", b.moment(b.DueAt))
	}
}

// since says what was told before, where that is not so any more.
func (b Brief) since(say func(format string, a ...any)) {
	t := b.Told
	if t == nil || b.Kind == Test {
		return
	}
	promised := t.Verdict != planner.VerdictHold && len(t.Pads) > 0
	said := "hold"
	if promised {
		said = fmt.Sprintf("pour %s, start %s", padWords(t.Pads, mostInFirst), b.clock(t.Start))
	}
	switch {
	case b.Kind == Change:
		say("Changed: forget what was said %s (%s).", b.moment(t.At), said)
	case b.pours() != promised:
		say("Forget what was said %s (%s).", b.moment(t.At), said)
	}
}

// wear keeps skin, eyes and lungs whole: wet cement burns, and its dust scars
// (OSHA, quoted with the cautions for people).
const wear = "gloves, boots, eye protection, a dust mask for the bags"

// saidLate is the delay from which a message owns up to it.
const saidLate = 10 * time.Minute

// water says the mixing water of the pour.
func (b Brief) water() string {
	switch {
	case b.Pour.WaterL <= 0:
		return ""
	case b.Project.Units == "us":
		return ", " + number(b.Pour.WaterL/unit.LitresPerGallon, 1) + nbsp + "gal of water"
	}
	return ", " + number(b.Pour.WaterL, 0) + nbsp + "l of water"
}

// mostCautions is how many cautions a message gives: more are not read.
const mostCautions = 4

// watch gives the cautions to act on and to watch, the pressing ones first.
func (b Brief) watch(text *strings.Builder, f Facts) {
	rank := map[planner.Severity]int{planner.Act: 0, planner.Watch: 1}
	var cs []planner.Caution
	for _, c := range f.Cautions {
		if _, ok := rank[c.Severity]; ok {
			cs = append(cs, c)
		}
	}
	if len(cs) == 0 {
		return
	}
	slices.SortStableFunc(cs, func(x, y planner.Caution) int { return rank[x.Severity] - rank[y.Severity] })
	if b.pours() {
		text.WriteString("\nWatch:\n")
	} else {
		text.WriteString("\nWhat stands against it:\n")
	}
	for i, c := range cs {
		if i == mostCautions {
			text.WriteString(wrap("- ", fmt.Sprintf("And %d more, on the page.", len(cs)-i)))
			break
		}
		s := together(b.reader().Own(strings.TrimSuffix(clean(c.Text), ".")))
		if w := figureWords(c.Figure, b.Project.Units); w != "" && !says(s, w) {
			s += " (" + w + ")"
		}
		text.WriteString(wrap("- ", s+"."))
	}
}

// says reports whether a caution's own text gives the value of its figure.
func says(text, figure string) bool {
	value, _, _ := strings.Cut(figure, nbsp)
	return slices.Contains(strings.FieldsFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789.-", r) }), value)
}

// why gives the reason in a line, and the chance.
func (b Brief) why(text *strings.Builder, f Facts) {
	if f.Reason == "" && f.Chance == nil {
		return
	}
	text.WriteString("\n")
	if f.Reason != "" {
		label := "Why: "
		if b.pours() && f.Chance != nil && *f.Chance < 1 {
			label = "Main risk: " // the reason of a pour is what most threatens it
		}
		text.WriteString(wrap("", label+together(b.reader().Own(strings.TrimSuffix(f.Reason, ".")))+"."))
	}
	if f.Chance != nil {
		text.WriteString(wrap("", "Chance that no pad is lost: "+Percent(*f.Chance)+"."))
	}
	if b.pours() {
		text.WriteString(wrap("", "Times are estimates: at the slab, sheen gone and a boot that leaves a light print rule."))
	}
}

// provenance says where the weather comes from and how old it is.
func (b Brief) provenance(text *strings.Builder, f Facts) {
	text.WriteString("\n")
	if b.Sample {
		text.WriteString(wrap("", "SAMPLE WEATHER, NOT FOR REAL POURS."))
	}
	if b.SetClock {
		text.WriteString(wrap("", "The service's clock was set: this is a replay."))
	}
	if n := f.Forecast; n != nil {
		s := "Forecast: " + clean(n.Feed) + ", " + ageWords(n.AgeMin) + " old"
		if n.Members > 1 {
			s += fmt.Sprintf(", %d possible weathers", n.Members)
		}
		text.WriteString(wrap("", s+"."))
		if n.Attribution != "" && !b.Sample {
			text.WriteString(wrap("", clean(n.Attribution)))
		}
	} else {
		text.WriteString(wrap("", "No forecast has come yet."))
	}
	text.WriteString("\n" + wrap("", f.Project))
	if f.Link != "" {
		text.WriteString(wrap("", f.Link))
	}
}

// ageWords says an age in minutes as a person would.
func ageWords(min int) string {
	if min < 120 {
		return fmt.Sprintf("%d min", min)
	}
	return fmt.Sprintf("%d h", min/60)
}

func (b Brief) reader() Reader {
	return Reader{Zone: b.Zone, US: b.Project.Units == "us", Today: unit.DateOf(b.Now, b.Zone)}
}

func (b Brief) clock(t time.Time) string { return b.reader().Clock(t) }

// moment names an instant by weekday and clock reading.
func (b Brief) moment(t time.Time) string { return b.reader().Moment(t) }

// counted says a number with its noun: three pads.
func counted(n int, noun string) string { return Count(n) + " " + plural(n, noun, noun+"s") }

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func cleanAll(ss []string) []string {
	out := make([]string, len(ss))
	for i, s := range ss {
		out[i] = clean(s)
	}
	return out
}
