// Package logs owns the form of the log: lines of text or of JSON, from a level
// on, each with the id of the request or of the job that it belongs to.
//
//	log := logs.New(os.Stderr, logs.JSON, slog.LevelInfo)
//	ctx = logs.With(ctx, slog.String("request", id))
//	log.ErrorContext(ctx, "a request failed") // with request=<id>
package logs

import (
	"context"
	"io"
	"log/slog"
	"slices"
)

// The forms of a log.
const (
	Text = "text"
	JSON = "json"
)

// New returns a log in a form, Text unless it is JSON, from a level on.
func New(w io.Writer, form string, level slog.Level) *slog.Logger {
	o := &slog.HandlerOptions{Level: level}
	if form == JSON {
		return slog.New(handler{slog.NewJSONHandler(w, o)})
	}
	return slog.New(handler{slog.NewTextHandler(w, o)})
}

type attrsKey struct{}

// With returns a context whose lines in the log carry an attribute more.
func With(ctx context.Context, a slog.Attr) context.Context {
	have, _ := ctx.Value(attrsKey{}).([]slog.Attr)
	return context.WithValue(ctx, attrsKey{}, append(slices.Clip(have), a))
}

// handler adds the attributes of a line's context.
type handler struct{ slog.Handler }

// Handle writes a line.
func (h handler) Handle(ctx context.Context, r slog.Record) error {
	if attrs, ok := ctx.Value(attrsKey{}).([]slog.Attr); ok {
		r.AddAttrs(attrs...)
	}
	return h.Handler.Handle(ctx, r)
}

// WithAttrs and WithGroup keep what this handler adds.
func (h handler) WithAttrs(a []slog.Attr) slog.Handler { return handler{h.Handler.WithAttrs(a)} }

func (h handler) WithGroup(name string) slog.Handler { return handler{h.Handler.WithGroup(name)} }
