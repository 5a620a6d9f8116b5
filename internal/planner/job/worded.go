package job

import (
	"slices"

	"dryslot/internal/message"
)

// Worded returns the morning with each of its sentences worded by say. A text
// that was stored before there were codes is its own message. The morning itself
// stays as it is.
func (m Morning) Worded(say func(message.Message) string) Morning {
	message.Word(&m.Reason, &m.ReasonData, say)
	m.StandBy = m.StandBy.Worded(say)
	m.Pads = slices.Clone(m.Pads)
	for i := range m.Pads {
		message.Word(&m.Pads[i].Reason, &m.Pads[i].ReasonData, say)
	}
	m.Cautions = slices.Clone(m.Cautions)
	for i := range m.Cautions {
		m.Cautions[i] = m.Cautions[i].Worded(say)
	}
	m.Remedies = slices.Clone(m.Remedies)
	for i := range m.Remedies {
		message.Word(&m.Remedies[i].Change, &m.Remedies[i].ChangeData, say)
	}
	m.Better = m.Better.Worded(say)
	return m
}

// Worded returns the caution with its sentences and its source worded by say.
func (c Caution) Worded(say func(message.Message) string) Caution {
	message.WordAll(&c.Text, &c.Data, say)
	message.Word(&c.Source, &c.SourceData, say)
	return c
}

// Worded returns the plan and its mornings worded.
func (r Result) Worded(say func(message.Message) string) Result {
	return Result{Plan: r.Plan.Worded(say), Mornings: WordedMornings(r.Mornings, say)}
}

// WordedMornings words several mornings.
func WordedMornings(ms []Morning, say func(message.Message) string) []Morning {
	out := slices.Clone(ms)
	for i := range out {
		out[i] = out[i].Worded(say)
	}
	return out
}

// Worded returns a copy whose sentences are worded.
func (s *StandBy) Worded(say func(message.Message) string) *StandBy {
	if s == nil {
		return nil
	}
	out := *s
	message.WordAll(&out.Text, &out.Data, say)
	return &out
}
