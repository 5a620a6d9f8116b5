package view

import (
	"time"

	"dryslot/internal/learn"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// entryLines words entries, the newest first, with a line before each new date.
func (s Setting) entryLines(entries []pour.LogEntry) []EntryLine {
	void := map[string]bool{}
	for _, e := range s.Log {
		if e.Kind == pour.EntryUndone {
			void[e.Entry] = true
		}
	}
	var out []EntryLine
	var date unit.Date
	for _, e := range entries {
		line := s.entry(e)
		line.At, line.Void = s.Reader.Clock(e.At), void[e.ID]
		if !line.Void {
			line.Photos = s.photos(e, line.Words)
		}
		if d := unit.DateOf(e.At, s.Zone); d != date {
			date, line.Day = d, upper(s.Reader.Day(d))
		}
		if e.Kind != pour.EntryUndone && !line.Void && e.ID != "" && !s.Barred.Log {
			line.ID, line.Undo = e.ID, s.say(UndoEntry, message.Text("text", line.Words))
		}
		out = append(out, line)
	}
	return out
}

// learnedLines are what the log has taught, in figures: what was given in advance,
// what the crew did, and what is planned with.
func (s Setting) learnedLines() []BillRow {
	var out []BillRow
	for _, x := range []struct {
		of   learn.Correction
		code message.Code
		fig  func(float64) message.Figure
	}{
		{s.Learned.BagsPerHour, LearnedBags, func(v float64) message.Figure { return message.Number("v", v) }},
		{s.Learned.FinishMinPerM2, LearnedFinish, func(v float64) message.Figure { return message.Number("v", v) }},
		{s.Learned.WaterLPerBag, LearnedWater, func(v float64) message.Figure { return message.Volume("v", v) }},
		{s.Learned.SetFactor, LearnedSet, func(v float64) message.Figure { return message.Number("v", v) }},
		{s.Learned.FinishLag, LearnedLag, func(v float64) message.Figure { return message.Number("v", v) }},
	} {
		if x.of.Entries == 0 {
			continue
		}
		figure := func(v float64) message.Figure {
			return message.Text("", s.Reader.Figure(x.fig(float64(int(v*100+0.5))/100)))
		}
		named := func(name string, v float64) message.Figure { f := figure(v); f.Name = name; return f }
		out = append(out, BillRow{What: s.say(x.code), Value: s.Reader.Figure(figure(x.of.Value)),
			Note: s.say(LearnedFrom, message.Count("pads", x.of.Entries), named("observed", x.of.Observed),
				named("handbook", x.of.Handbook))})
	}
	return out
}

// RateForm asks how a pad looks that was poured weeks ago.
type RateForm struct {
	Action string
	Pads   []string
	Grades []Kind
	Asks   []Kind
}

// ratings is the form for pads that are at least three days old; nil: there are none.
func (s Setting) ratings() *RateForm {
	f := &RateForm{Action: s.href("/log"), Grades: []Kind{{"none", s.say(GradeNone)}, {"some", s.say(GradeSome)},
		{"bad", s.say(GradeBad)}}, Asks: []Kind{{"cracks", s.say(AskCracks)}, {"chipped_edges", s.say(AskEdges)},
		{"scaling", s.say(AskScaling)}, {"colour", s.say(AskColour)}}}
	for _, r := range s.Records {
		if r.PlacedAt != nil && s.Now.Sub(*r.PlacedAt) > 72*time.Hour && r.State != pour.Lost {
			f.Pads = append(f.Pads, r.Pad)
		}
	}
	if len(f.Pads) == 0 || s.Barred.Log {
		return nil
	}
	return f
}
