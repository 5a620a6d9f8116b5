package logs

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"strings"
	"testing"
)

func TestALineCarriesTheIDsOfItsContext(t *testing.T) {
	var b bytes.Buffer
	log := New(&b, JSON, slog.LevelInfo).With("part", "api")
	ctx := With(With(context.Background(), slog.String("request", "r1")), slog.Int("job", 7))
	With(ctx, slog.String("request", "another")) // does not change the context that it began with
	log.DebugContext(ctx, "not shown")
	log.WarnContext(ctx, "slow", "ms", 12)
	log.Info("no context")
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	if len(lines) != 2 {
		t.Fatalf("%d lines: %s", len(lines), &b)
	}
	var got struct {
		Level, Msg, Part, Request string
		Job, Ms                   int
	}
	if err := json.Unmarshal([]byte(lines[0]), &got); err != nil {
		t.Fatal(err)
	}
	if got.Level != "WARN" || got.Msg != "slow" || got.Part != "api" || got.Request != "r1" || got.Job != 7 ||
		got.Ms != 12 {
		t.Errorf("%+v", got)
	}
	if strings.Contains(lines[1], "request") {
		t.Error(lines[1])
	}
}

func TestTextIsTheOtherForm(t *testing.T) {
	var b bytes.Buffer
	New(&b, Text, slog.LevelDebug).DebugContext(With(context.Background(), slog.String("request", "r1")), "tried")
	if !strings.Contains(b.String(), "level=DEBUG msg=tried request=r1\n") {
		t.Error(b.String())
	}
}
