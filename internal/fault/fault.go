// Package fault owns the kinds of error that the service tells apart, each
// with its cause kept, the fields at fault and, where it is known, when to
// try again. What a person may cause or has to know is a code with figures,
// which package say words (Of, Broken); what only operators meet is English,
// for logs (New, Wrap, Err).
//
//	if errors.Is(err, fault.NotFound) { ... }
package fault

import (
	"errors"
	"strings"
	"time"

	"dryslot/internal/message"
)

// Kind says what sort of error it is. A Kind is itself an error, so that
// errors.Is(err, fault.NotFound) works.
type Kind string

// The kinds of error.
const (
	NotFound    Kind = "not found"   // no such thing, or another account's
	Unreadable  Kind = "unreadable"  // what was sent can't be read at all
	Invalid     Kind = "invalid"     // it was read, and breaks a rule
	Conflict    Kind = "conflict"    // it clashes with what is there or under way
	Forbidden   Kind = "forbidden"   // not without a valid token
	Unavailable Kind = "unavailable" // an outside part does not answer now; try later
	Stale       Kind = "stale"       // it was changed since it was read
	TooMany     Kind = "too many"    // more than one client may ask in a time
)

// Error makes a Kind usable as a target of errors.Is.
func (k Kind) Error() string { return string(k) }

// Field names one value at fault and the rule that it breaks, as data: package
// say words it.
type Field struct {
	Path  string // such as pads[2].thickness_m
	Value string // what was given, as text, cut to a sensible length
	Rule  Rule   // such as Range(0.04, 0.5, "m")
}

// Error is an error of one kind.
type Error struct {
	Kind       Kind
	Message    message.Message // what went wrong
	Fields     []Field         // the values at fault, all of them
	RetryAfter time.Duration   // 0: not known
	Cause      error           // kept for errors.Is, errors.As and the log
}

// Of returns an error of a kind that say words for the person who caused it.
func Of(k Kind, code message.Code, figures ...message.Figure) *Error {
	return &Error{Kind: k, Message: message.New(code, figures...)}
}

// New returns an error of a kind that is stated in English, for operators and
// logs: a person sees its kind only.
func New(k Kind, english string) *Error { return &Error{Kind: k, Message: Stated(english).Message} }

// Wrap is New with a cause that is kept.
func Wrap(k Kind, english string, cause error) *Error { return New(k, english).By(cause) }

// By returns e with its cause.
func (e *Error) By(cause error) *Error {
	e.Cause = cause
	return e
}

// At returns e with one more value at fault. The value is cut to 80 bytes.
func (e *Error) At(path, value string, rule Rule) *Error {
	l := List(e.Fields)
	l.Break(path, value, rule)
	e.Fields = l
	return e
}

// Worded reports whether say has words for what went wrong.
func (e *Error) Worded() bool { return e.Message.Code != StatedRule && !e.Message.IsZero() }

// Error returns the message, the fields at fault and the cause.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(string(e.Kind))
	b.WriteString(": ")
	b.WriteString(Rule{e.Message}.String())
	for _, f := range e.Fields {
		b.WriteString("; " + f.Path + " = " + f.Value + ": " + f.Rule.String())
	}
	if e.Cause != nil {
		b.WriteString(": " + e.Cause.Error())
	}
	return b.String()
}

// Unwrap returns the kind and the cause.
func (e *Error) Unwrap() []error {
	if e.Cause == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Cause}
}

// KindOf returns the kind of err, or "" when it has none.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	var k Kind
	if errors.As(err, &k) {
		return k
	}
	return ""
}

// List gathers fields at fault so that all are reported together.
type List []Field

// Add notes one field at fault with a rule that is stated in English: for
// operators and logs. What a builder may cause goes to Break.
func (l *List) Add(path, value, rule string) { l.Break(path, value, Stated(rule)) }

// Break notes one field at fault. The value is cut to 80 bytes.
func (l *List) Break(path, value string, rule Rule) {
	const most = 80
	if len(value) > most {
		value = strings.ToValidUTF8(value[:most], "") + "..."
	}
	*l = append(*l, Field{path, value, rule})
}

// Err returns nil when nothing is at fault, else an Invalid error with all
// fields that is stated in English, for operators and logs.
func (l List) Err(english string) error {
	if len(l) == 0 {
		return nil
	}
	e := New(Invalid, english)
	e.Fields = l
	return e
}

// Broken is Err with a code, so that say can word it for a person.
func (l List) Broken(code message.Code, figures ...message.Figure) error {
	if len(l) == 0 {
		return nil
	}
	e := Of(Invalid, code, figures...)
	e.Fields = l
	return e
}
