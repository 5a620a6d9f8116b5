package view

import (
	"dryslot/internal/message"
	"dryslot/internal/say"
)

// Fault is what is wrong in a form, in words, at one of its fields; a fault
// without a field is of the whole.
type Fault struct{ Field, Label, Words string }

// Field is one thing to fill in, or to choose from.
type Field struct {
	Name, Label, Value string
	Hint               string
	Echo               string // what was typed, as it is read
	Wrong              []string
	Number             bool // a phone shows digits
	Date               bool
	Hidden             bool
	Choices            []Choice
	Beside             bool // the choices stand beside each other
	Many               bool // several may be chosen: beside each other, else one a line
}

// Choice is one of a field's values.
type Choice struct {
	Value, Words string
	Chosen       bool
}

// fields makes the fields of forms in a reader's words.
type fields struct{ r say.Reader }

// languages are the choices of a project's language.
func (f fields) languages() []Choice {
	return []Choice{{Value: "en-US", Words: f.r.Label(ChoiceEnUs)}, {Value: "en", Words: f.r.Label(ChoiceEn)},
		{Value: "es-419", Words: f.r.Label(ChoiceEs419)}, {Value: "es-US", Words: f.r.Label(ChoiceEsUs)}}
}

// said words a code with figures.
func said(r say.Reader, code message.Code, figures ...message.Figure) string {
	return r.Say(message.New(code, figures...))
}
