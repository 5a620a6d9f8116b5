package notify

import (
	"strings"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
)

// Better gives a morning's nearest better option: what to do, and what comes of
// it; the zero Message where there is none. change is the option's own change,
// worded.
func Better(m job.Morning, change string) message.Message {
	b := m.Better
	if b == nil || change == "" {
		return message.Message{}
	}
	code, figure := "better_day_"+message.Code(b.Verdict), message.Date("", b.Date)
	if b.Date == m.Date {
		code, figure = "better_change_"+message.Code(b.Verdict), message.Text("change", strings.TrimSuffix(change, "."))
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
	return Better(m, b.own(clean(m.Better.Change)))
}
