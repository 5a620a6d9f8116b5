package pour

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// padsWanted is how many pads an entry of a kind names.
type padsWanted int

const (
	noPads   padsWanted = iota
	somePads            // none means all that it can be true of
	onePad
	anyPads // one or more
)

type kindPads struct {
	kind EntryKind
	pads padsWanted
}

// kinds are all kinds of log entry, with the pads that each names.
var kinds = []kindPads{
	{EntryStarted, noPads}, {EntryFormed, anyPads}, {EntryPlacing, onePad}, {EntryPlaced, anyPads},
	{EntryFinished, anyPads}, {EntryStripped, anyPads}, {EntryLost, anyPads}, {EntrySkipped, somePads},
	{EntryNote, somePads}, {EntryCovered, somePads}, {EntryUncovered, somePads}, {EntryRainBegan, noPads},
	{EntryRainEnded, noPads}, {EntryRainedOn, somePads}, {EntryInspected, anyPads}, {EntryRated, anyPads},
	{EntryUndone, noPads},
}

// EntryKinds lists all kinds of log entry.
func EntryKinds() []EntryKind {
	out := make([]EntryKind, len(kinds))
	for i, k := range kinds {
		out[i] = k.kind
	}
	return out
}

var (
	results = []string{ResultSound, ResultBlemished, ResultLost}
	grades  = []string{"none", "some", "bad"}
	uuid    = regexp.MustCompile(`^[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$`)
)

// CheckEntry returns nil when an entry is well formed in itself at now, else
// fault.Invalid with every field at fault. Whether it can be true beside what
// is logged already, package history decides. An entry may lie in the past,
// before the project was entered too, but not after now: TakeAsNow has taken
// care of clocks that run ahead. Rain must have fallen by now.
func CheckEntry(spec Spec, e LogEntry, now time.Time) error {
	c := &checker{}
	c.entry(spec, e, now)
	return c.list.Broken(EntryBreaksRule)
}

func (c *checker) entry(spec Spec, e LogEntry, now time.Time) {
	i := slices.IndexFunc(kinds, func(k kindPads) bool { return k.kind == e.Kind })
	var names []string
	for _, k := range EntryKinds() {
		names = append(names, string(k))
	}
	c.word("kind", string(e.Kind), names)
	timed := c.entryTime(e.At, now)
	c.optional("rain_mm", e.RainMM, 0, 500)
	// One pad takes fewer bags than a lorry carries, and less than a day.
	c.optional("bags", e.Bags, 0, 2000)
	c.optional("water_l", e.WaterL, 0, 30000)
	c.optional("minutes", e.Minutes, 0, 1440)
	c.phrase("text", e.Text, 2000)
	c.most("photos", len(e.Photos), MostPhotos)
	for i, id := range e.Photos {
		c.uuid(fmt.Sprintf("photos[%d]", i), id)
	}
	if e.ID != "" {
		c.uuid("id", e.ID)
	}
	if i >= 0 {
		c.padsOf(spec, e, kinds[i].pads)
		c.ofKind(e)
	}
	if timed && e.Kind == EntryRainedOn && e.Minutes != nil {
		if end := e.At.Add(time.Duration(*e.Minutes * float64(time.Minute))); end.After(now.Add(RunsAhead)) {
			c.add("minutes", num(*e.Minutes), fault.RuleOf(RainStillFalls,
				message.Duration("most", now.Sub(e.At).Truncate(time.Minute))))
		}
	}
}

func (c *checker) padsOf(spec Spec, e LogEntry, want padsWanted) {
	given := e.Names()
	path := "pads"
	if len(e.Pads) == 0 {
		path = "pad"
	}
	switch {
	case e.Pad != "" && len(e.Pads) > 0 && !slices.Equal(e.Pads, []string{e.Pad}):
		c.add("pad", printable(e.Pad), fault.RuleOf(PadBesidePads))
	case want == noPads && len(given) > 0:
		c.add(path, printable(given[0]), leftOut(e))
	case want == onePad && len(given) != 1:
		c.add(path, fmt.Sprint(len(given)), fault.RuleOf(OnePad, message.Text("kind", string(e.Kind))))
	case want == anyPads && len(given) == 0:
		c.add(path, "", fault.RuleOf(PadRequired, message.Text("kind", string(e.Kind))))
	}
	if !c.most("pads", len(given), MaxPads) {
		return
	}
	for i, name := range given {
		at := path
		if path == "pads" {
			at = fmt.Sprintf("pads[%d]", i)
		}
		switch {
		case !slices.ContainsFunc(spec.Pads, func(p Pad) bool { return p.Name == name }):
			c.add(at, printable(name), fault.RuleOf(PadUnknown))
		case slices.Contains(given[:i], name):
			c.add(at, name, fault.RuleOf(fault.GivenTwice))
		}
	}
}

// ofKind checks the fields that belong to some kinds only.
func (c *checker) ofKind(e LogEntry) {
	only := func(path string, given bool, value string, kinds ...EntryKind) bool {
		if !given {
			return false
		}
		if !slices.Contains(kinds, e.Kind) {
			c.add(path, printable(value), leftOut(e))
			return false
		}
		return true
	}
	if only("cover", e.Cover != "", e.Cover, EntryCovered, EntryUncovered, EntryRainedOn) {
		c.word("cover", e.Cover, coverKinds)
	}
	only("covered", e.Covered != nil, "", EntryRainedOn)
	if only("result", e.Result != "", e.Result, EntryInspected) || e.Kind == EntryInspected {
		c.word("result", e.Result, results)
	}
	if only("entry", e.Entry != "", e.Entry, EntryUndone) || e.Kind == EntryUndone {
		c.uuid("entry", e.Entry)
		if e.ID != "" && strings.EqualFold(e.ID, e.Entry) {
			c.add("entry", e.Entry, fault.RuleOf(UndoesItself))
		}
	}
	told := e.Text != "" || len(e.Photos) > 0
	if only("ratings", e.Ratings != nil, "", EntryRated) {
		r := *e.Ratings
		for _, g := range []struct{ path, v string }{{"ratings.cracks", r.Cracks}, {"ratings.chipped_edges",
			r.ChippedEdges},
			{"ratings.scaling", r.Scaling}, {"ratings.colour", r.Colour}} {
			if g.v != "" {
				c.word(g.path, g.v, grades)
				told = true
			}
		}
	}
	if e.Kind == EntryRated && !told {
		c.add("ratings", "", fault.RuleOf(RatingEmpty))
	}
	if e.Kind == EntryNote && strings.TrimSpace(e.Text) == "" && len(e.Photos) == 0 {
		c.add("text", e.Text, fault.RuleOf(NoteEmpty))
	}
}

// leftOut is the rule for a field that entries of this kind don't have.
func leftOut(e LogEntry) fault.Rule {
	return fault.RuleOf(LeftOut, message.Text("kind", string(e.Kind)))
}

func (c *checker) uuid(path, v string) {
	if !uuid.MatchString(v) {
		c.add(path, printable(v), fault.RuleOf(fault.UUIDWanted))
	}
}

func (c *checker) entryTime(at, now time.Time) bool {
	switch {
	case at.IsZero():
		c.add("at", "", fault.RuleOf(WhenRequired))
	case at.After(now):
		c.add("at", at.Format(time.RFC3339), fault.RuleOf(fault.InTheFuture, message.At("now", now.In(at.Location()))))
	case at.Year() < 2000:
		c.add("at", at.Format(time.RFC3339), years())
	default:
		return true
	}
	return false
}

// phrase wants text that may be empty and may have several lines.
func (c *checker) phrase(path, v string, most int) {
	c.note(path, Rule{Most: most})
	clean := strings.Map(func(r rune) rune {
		if r == '\n' || r == '\r' || r == '\t' {
			return ' '
		}
		return r
	}, v)
	switch {
	case utf8.RuneCountInString(v) > most:
		c.add(path, v, fault.Characters(most))
	case !utf8.ValidString(v) || strings.ContainsFunc(clean, unprintable):
		c.add(path, printable(v), fault.RuleOf(fault.TextUnfit))
	}
}
