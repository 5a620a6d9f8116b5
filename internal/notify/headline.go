package notify

import (
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
)

// Headline says what to do on a morning in one sentence: the verdict and which
// pads. Pages open with it.
func Headline(m job.Morning) message.Message {
	day := message.Date("", m.Date)
	switch {
	case m.Score == nil:
		return message.New(HeadWaiting, day)
	case m.Verdict == job.VerdictHold:
		return message.New(HeadHold, day)
	case len(m.Pads) == 0:
		return message.New(HeadNothing, day)
	}
	names := make([]string, len(m.Pads))
	for i, p := range m.Pads {
		names[i] = p.Pad
	}
	code := HeadPour
	if m.Verdict == job.VerdictCare {
		code = HeadCare
	}
	return message.New(code, message.Names("pads", names), day)
}

// StartLine says when to start, and by when the last pad is placed and
// finished; the zero Message where there is nothing to pour.
func StartLine(m job.Morning) message.Message {
	if m.Window == nil || len(m.Pads) == 0 || m.Verdict == job.VerdictHold {
		return message.Message{}
	}
	w, last := m.Window, m.Pads[len(m.Pads)-1]
	figures := []message.Figure{message.At("start", w.Start)}
	code := StartAt
	if w.LatestStart.After(w.Start) {
		code = StartBetween
		figures = append(figures, message.At("latest", w.LatestStart))
	}
	return message.New(code, append(figures, message.At("placed", last.PlaceEnd), message.At("done", last.FinishEnd))...)
}
