package pour

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// entryKinds are all kinds of log entry.
var entryKinds = []string{string(EntryPlaced), string(EntryFinished), string(EntryStripped),
	string(EntryRainedOn), string(EntryLost), string(EntrySkipped), string(EntryNote)}

// Replay reduces the log to what is true of each pad at now: one record a pad
// of the spec, in its order. The log may come in any order; entries later than
// now and entries of pads that the spec lacks are passed over, and so is an
// entry that can't be true where it stands (a finish of a pad that is not
// placed), so that Replay never fails on a log that was once accepted.
//
// curedAt tells when a pad placed at an instant has cured, the zero time where
// that is not known; a nil curedAt cures nothing.
func Replay(spec Spec, log []LogEntry, now time.Time, curedAt func(pad string, placed time.Time) time.Time) []PadRecord {
	records := make([]PadRecord, len(spec.Pads))
	index := make(map[string]*PadRecord, len(spec.Pads))
	for i, p := range spec.Pads {
		records[i] = PadRecord{Pad: p.Name, State: Waiting}
		index[p.Name] = &records[i]
	}
	ordered := slices.Clone(log)
	slices.SortStableFunc(ordered, func(a, b LogEntry) int {
		if c := a.At.Compare(b.At); c != 0 {
			return c
		}
		return a.RecordedAt.Compare(b.RecordedAt)
	})
	for _, e := range ordered {
		if e.At.After(now) {
			continue
		}
		if r := index[e.Pad]; r != nil {
			r.enter(e)
		}
		for _, f := range e.Effects {
			if r := index[f.Pad]; r != nil {
				r.suffer(f, e.At)
			}
		}
	}
	for i := range records {
		records[i].cure(now, curedAt)
	}
	return records
}

// enter applies what an entry says of its own pad.
func (r *PadRecord) enter(e LogEntry) {
	at := e.At
	switch e.Kind {
	case EntryPlaced:
		*r = PadRecord{Pad: r.Pad, State: Placed, PlacedAt: &at, Losses: r.Losses, Castings: append(r.Castings, Casting{at, e.Bags})}
	case EntryFinished:
		if r.PlacedAt != nil && r.FinishedAt == nil {
			r.FinishedAt = &at
			if r.State == Placed {
				r.State = Finished
			}
		}
	case EntryStripped:
		if r.PlacedAt != nil && r.StrippedAt == nil {
			r.StrippedAt = &at
			r.State = Stripped
		}
	case EntryLost:
		r.lose(at)
	}
}

// suffer applies what the service concluded from an entry.
func (r *PadRecord) suffer(f Effect, at time.Time) {
	if f.State == Lost {
		r.lose(at)
		return
	}
	if f.Inspect != "" && r.PlacedAt != nil {
		r.Inspect = f.Inspect
	}
}

// lose takes a placed pad back: it is to be broken out and poured again.
func (r *PadRecord) lose(at time.Time) {
	if r.PlacedAt == nil {
		return
	}
	*r = PadRecord{Pad: r.Pad, State: Lost, LostAt: &at, Losses: r.Losses + 1, Castings: r.Castings}
}

func (r *PadRecord) cure(now time.Time, curedAt func(string, time.Time) time.Time) {
	if r.PlacedAt == nil || curedAt == nil {
		return
	}
	at := curedAt(r.Pad, *r.PlacedAt)
	if at.IsZero() || at.After(now) {
		return
	}
	r.CuredAt = &at
	r.State = Cured
}

// CheckEntry returns nil when an entry can be true of a project whose pads
// stand as records say (Replay at now), else fault.Invalid with every field at
// fault. An entry may lie in the past, before the project was entered too, but
// not after now, and it must fit between what is logged already.
func CheckEntry(spec Spec, records []PadRecord, e LogEntry, now time.Time) error {
	c := &checker{}
	kindKnown := c.word("kind", string(e.Kind), entryKinds)
	timeKnown := c.entryTime(e.At, now)
	c.optional("rain_mm", e.RainMM, 0, 500)
	// One pad takes fewer bags than a lorry carries, and less than a day.
	c.optional("bags", e.Bags, 0, 2000)
	c.optional("water_l", e.WaterL, 0, 30000)
	c.optional("minutes", e.Minutes, 0, 1440)
	c.phrase("text", e.Text, 2000)
	if e.Kind == EntryNote && strings.TrimSpace(e.Text) == "" {
		c.add("text", e.Text, "must not be empty in a note")
	}
	wholeSite := e.Kind == EntryRainedOn || e.Kind == EntrySkipped || e.Kind == EntryNote
	i := slices.IndexFunc(records, func(r PadRecord) bool { return r.Pad == e.Pad })
	switch {
	case e.Pad == "" && kindKnown && !wholeSite:
		c.add("pad", "", "is required for "+string(e.Kind))
	case e.Pad == "":
	case !slices.ContainsFunc(spec.Pads, func(p Pad) bool { return p.Name == e.Pad }):
		c.add("pad", printable(e.Pad), "must be the name of one of the project's pads")
	case kindKnown && timeKnown && i >= 0:
		c.fits(e, records[i])
	}
	return c.list.Err("the log entry breaks a rule")
}

func (c *checker) entryTime(at, now time.Time) bool {
	switch {
	case at.IsZero():
		c.add("at", "", "is required: when it happened, with an offset")
	case at.After(now):
		c.add("at", at.Format(time.RFC3339), "must not be in the future; it is "+now.In(at.Location()).Format(time.RFC3339))
	case at.Year() < 2000:
		c.add("at", at.Format(time.RFC3339), "must not be before the year 2000")
	default:
		return true
	}
	return false
}

// fits checks an entry against what the log says of its pad already.
func (c *checker) fits(e LogEntry, r PadRecord) {
	last := latest(r.PlacedAt, r.FinishedAt, r.StrippedAt)
	switch e.Kind {
	case EntryPlaced:
		switch {
		case r.PlacedAt != nil:
			c.add("kind", "placed", fmt.Sprintf("%s was placed at %s already; log it as lost first", r.Pad, stamp(*r.PlacedAt)))
		case r.LostAt != nil && e.At.Before(*r.LostAt):
			c.add("at", stamp(e.At), "must not be before the pad was lost, "+stamp(*r.LostAt))
		}
	case EntryFinished:
		switch {
		case !c.onPlaced(e, r):
		case r.FinishedAt != nil:
			c.add("kind", "finished", fmt.Sprintf("%s was finished at %s already", r.Pad, stamp(*r.FinishedAt)))
		case r.StrippedAt != nil && e.At.After(*r.StrippedAt):
			c.add("at", stamp(e.At), "must not be after the pad was stripped, "+stamp(*r.StrippedAt))
		}
	case EntryStripped:
		switch {
		case !c.onPlaced(e, r):
		case r.StrippedAt != nil:
			c.add("kind", "stripped", fmt.Sprintf("%s was stripped at %s already", r.Pad, stamp(*r.StrippedAt)))
		case r.FinishedAt != nil && e.At.Before(*r.FinishedAt):
			c.add("at", stamp(e.At), "must not be before the pad was finished, "+stamp(*r.FinishedAt))
		}
	case EntryLost:
		if c.onPlaced(e, r) && e.At.Before(*last) {
			c.add("at", stamp(e.At), "must not be before what the log tells of the pad already, "+stamp(*last))
		}
	case EntrySkipped:
		if r.PlacedAt != nil && !e.At.Before(*r.PlacedAt) {
			c.add("kind", "skipped", fmt.Sprintf("%s was placed at %s", r.Pad, stamp(*r.PlacedAt)))
		}
	case EntryRainedOn:
		if r.LostAt == nil || e.At.After(*r.LostAt) { // rain may be told after the loss that it caused
			c.onPlaced(e, r)
		}
	}
}

// onPlaced checks that an entry that needs a placed pad comes after its placing.
func (c *checker) onPlaced(e LogEntry, r PadRecord) bool {
	switch {
	case r.PlacedAt == nil && r.LostAt != nil:
		c.add("kind", string(e.Kind), fmt.Sprintf("%s was lost at %s and is not placed again", r.Pad, stamp(*r.LostAt)))
	case r.PlacedAt == nil:
		c.add("kind", string(e.Kind), r.Pad+" is not placed; log it as placed first")
	case e.At.Before(*r.PlacedAt):
		c.add("at", stamp(e.At), "must not be before the pad was placed, "+stamp(*r.PlacedAt))
	default:
		return true
	}
	return false
}

// phrase wants text that may be empty and may have several lines.
func (c *checker) phrase(path, v string, most int) {
	clean := strings.Map(func(r rune) rune {
		if r == '\n' || r == '\r' || r == '\t' {
			return ' '
		}
		return r
	}, v)
	switch {
	case utf8.RuneCountInString(v) > most:
		c.add(path, v, fmt.Sprintf("must have at most %d characters", most))
	case !utf8.ValidString(v) || strings.ContainsFunc(clean, unprintable):
		c.add(path, printable(v), "must hold printable characters only")
	}
}

func latest(times ...*time.Time) *time.Time {
	var last *time.Time
	for _, t := range times {
		if t != nil && (last == nil || t.After(*last)) {
			last = t
		}
	}
	return last
}

func stamp(t time.Time) string { return t.Format(time.RFC3339) }
