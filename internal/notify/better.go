package notify

import (
	"dryslot/internal/message"
	"dryslot/internal/planner/job"
)

// Better gives a morning's nearest better option: what to do, and what comes of
// it; the zero Message where there is none.
func Better(m job.Morning) message.Message {
	b := m.Better
	if b == nil {
		return message.Message{}
	}
	change := message.OrStored(b.ChangeData, b.Change)
	if change.IsZero() {
		return message.Message{}
	}
	code, figure := "better_day_"+message.Code(b.Verdict), message.Date("", b.Date)
	if b.Date == m.Date {
		code, figure = "better_change_"+message.Code(b.Verdict), message.Within("change", change)
	}
	if b.ChanceUnharmed == nil {
		return message.New(code, figure)
	}
	return message.New(code+"_chance", figure, message.Chance("", *b.ChanceUnharmed))
}

// turned gives the option that makes another verdict of the morning itself:
// there is time for it on the evening before.
func (b Brief) turned() message.Message {
	m := b.Morning
	if b.Kind != Evening || m.Better == nil || m.Better.Date != b.Date || m.Better.Verdict == string(m.Verdict) {
		return message.Message{}
	}
	m.Date = b.Date
	return Better(m)
}
