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
