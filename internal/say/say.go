package say

import (
	"fmt"
	"strings"

	"golang.org/x/text/feature/plural"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// nbsp keeps a number and its unit on one line.
const nbsp = "\u00a0"

// Say words a message. A code that there is no sentence for is given as
// String gives it, a figure that is missing as a question mark: a reader is
// better served by an odd sentence than by none. Check reports both.
func (r Reader) Say(m message.Message) string {
	s, ok := r.catalog().Sentences[m.Code]
	if !ok {
		if m.IsZero() {
			return ""
		}
		return m.String()
	}
	out, _ := r.fill(s.choose(r, m), m)
	return out
}

// Label words a code that has no figures.
func (r Reader) Label(code message.Code) string { return r.Say(message.New(code)) }

// SayAll words several sentences, one after another.
func (r Reader) SayAll(ms []message.Message) string {
	said := make([]string, len(ms))
	for i, m := range ms {
		said[i] = r.Say(m)
	}
	return strings.Join(said, " ")
}

// Check returns why Say could not word a message whole, or nil.
func (r Reader) Check(m message.Message) error {
	s, ok := r.catalog().Sentences[m.Code]
	if !ok {
		return fmt.Errorf("say: no sentence for %s in %s", m.Code, r.tag())
	}
	_, err := r.fill(s.choose(r, m), m)
	return err
}

// Rule words the rule that a value breaks, without a stop: "must be a number
// from 1 to 50".
func (r Reader) Rule(rule fault.Rule) string { return r.Say(rule.Message) }

// choose picks the template for the plural form of the figure that decides.
func (s sentence) choose(r Reader, m message.Message) string {
	if s.By == "" {
		return s.Other
	}
	n := 0
	switch v := m.Figures.Get(s.By).(type) {
	case message.Quantity:
		n = int(v.V)
	case message.List:
		n = len(v)
	}
	if n == 0 && s.Zero != "" {
		return s.Zero // none is said in words of its own where a language gives any
	}
	form := map[plural.Form]string{plural.One: s.One, plural.Two: s.Two, plural.Few: s.Few, plural.Many: s.Many}
	if t := form[plural.Cardinal.MatchPlural(r.tag(), n, 0, 0, 0, 0)]; t != "" {
		return t
	}
	return s.Other
}

// fill puts the figures into a template: {name}, or {name:form} for one of the
// forms of a figure (see doc.go).
func (r Reader) fill(template string, m message.Message) (string, error) {
	var b strings.Builder
	var missing []string
	for {
		before, rest, ok := strings.Cut(template, "{")
		b.WriteString(before)
		if !ok {
			break
		}
		var hole string
		if hole, template, ok = strings.Cut(rest, "}"); !ok {
			return b.String(), fmt.Errorf("say: %s: a brace is not closed", m.Code)
		}
		name, form, _ := strings.Cut(hole, ":")
		v := m.Figures.Get(name)
		if v == nil {
			missing = append(missing, name)
			b.WriteString("?")
			continue
		}
		said := r.figure(v, form)
		b.WriteString(said)
		if strings.HasSuffix(said, ".") { // a. m. ends the sentence too
			template = strings.TrimPrefix(template, ".")
		}
	}
	if missing != nil {
		return b.String(), fmt.Errorf("say: %s lacks %s", m.Code, strings.Join(missing, ", "))
	}
	return b.String(), nil
}
