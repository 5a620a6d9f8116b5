package notify

import (
	"testing"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/today"
)

// told are the occasions that hold.
func told(all []Live) (out []string) {
	for _, x := range all {
		if x.Holds {
			out = append(out, string(x.Kind)+x.Of)
		}
	}
	return out
}

func TestALiveCauseThatSwingsMakesOneOccasion(t *testing.T) {
	begin := time.Date(2026, 11, 28, 10, 0, 0, 0, time.UTC)
	set := begin.Add(4 * time.Hour)
	states := map[Kind]CauseState(nil)
	ask := func(min int, do today.Do) []Live {
		at := begin.Add(time.Duration(min) * time.Minute)
		var out []Live
		out, states = Watched{Before: states, Crew: pour.DefaultSpec().Crew, Zone: time.UTC,
			Now: today.Now{At: at, Day: today.UnderWay, Advice: today.Advice{Do: do, Pads: []string{"H1"},
				Why: message.New(today.NowStop)},
				Pads: []history.Pad{{PadRecord: pour.PadRecord{Pad: "H1", PlacedAt: &begin},
					Phase: history.Soft, InitialSet: &set}}}}.Live()
		return out
	}
	for _, c := range []struct {
		min  int
		do   today.Do
		want string
	}{
		{0, today.GoOn, ""}, {15, today.Cover, "rain1"}, {30, today.GoOn, ""}, {45, today.Cover, "rain1"},
		{60, today.Stop, "stop1"},
		{75, today.GoOn, "resume1"}, {90, today.Wait, "stop1"}, {105, today.GoOn, "resume1"},
		{110, today.Cover, "rain2"}, {171, today.Stop, "stop2"},
	} {
		got := ""
		for _, x := range told(ask(c.min, c.do)) {
			got += x
		}
		if got != c.want {
			t.Errorf("after %d min, %s: %s, want %s", c.min, c.do, got, c.want)
		}
	}
}

func TestReadyClosesWithTheFirstWindow(t *testing.T) {
	now := time.Date(2026, 11, 28, 10, 0, 0, 0, time.UTC)
	placed := now.Add(-2 * time.Hour)
	pad := func(name string, at *time.Time) history.Pad {
		return history.Pad{PadRecord: pour.PadRecord{Pad: name, PlacedAt: at}}
	}
	finish := func(name string, from, until int) today.Next {
		return today.Next{Do: today.Finish, Pads: []string{name}, From: now.Add(time.Duration(from) * time.Minute),
			Until: now.Add(time.Duration(until) * time.Minute)}
	}
	n := today.Now{At: now, Day: today.UnderWay, Pads: []history.Pad{pad("H1", &placed), pad("H2", &placed),
		pad("H3", nil)}, Next: []today.Next{finish("H1", -20, 40), finish("H2", -5, 30), finish("H3", -1, 90)}}
	all, _ := Watched{Now: n, Zone: time.UTC}.Live()
	for _, x := range all {
		if x.Kind == Ready {
			if !x.Closes.Equal(now.Add(30*time.Minute)) || len(x.Lines) != 2 || x.Urgent(now) ||
				!x.Urgent(now.Add(15*time.Minute)) {
				t.Errorf("%+v", x)
			}
			return
		}
	}
	t.Errorf("two pads are ready: %+v", all)
}
