package states

import (
	"fmt"
	"time"

	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
	"dryslot/internal/web/pages/view"
)

// step is one thing to be done, from and until so many minutes after now.
func step(s view.Setting, do today.Do, from, until int, pads ...string) today.Next {
	n := today.Next{Do: do, Pads: pads, From: s.Now.Add(time.Duration(from) * time.Minute),
		Why: message.New(today.StepSetUp)}
	if do == today.CleanUp {
		n.Why = message.New(today.StepCleanUp)
	}
	if until != 0 {
		n.Until = s.Now.Add(time.Duration(until) * time.Minute)
		n.Late = until < 0
	}
	return n
}

// pads are the phases of the project's pads, by the records of a state.
func pads(s view.Setting) []history.Pad {
	var out []history.Pad
	for _, r := range s.Records {
		p := history.Pad{PadRecord: r, Phase: history.Waiting}
		switch r.State {
		case pour.Placed:
			set := s.Now.Add(3 * time.Hour)
			p.Phase, p.InitialSet, p.FinalSet = history.Soft, &set, &set
		case pour.Lost:
			p.Phase = history.Lost
		case pour.Stripped:
			p.Phase = history.Stripped
		case pour.Cured:
			p.Phase = history.Cured
		}
		out = append(out, p)
	}
	return out
}

// rain is the chance of rain over the coming hours, rising from so many hours on.
func rain(s view.Setting, from int) (out []today.Hour) {
	for h := range 11 {
		c := 0.01
		if h >= from {
			c = min(0.15+0.12*float64(h-from), 0.7)
		}
		out = append(out, today.Hour{Time: s.Now.Truncate(time.Hour).Add(time.Duration(h) * time.Hour), Chance: c})
	}
	return out
}

func planned(s view.Setting) today.Now {
	return today.Now{At: s.Now, Day: today.Planned, Pads: pads(s), Rain: today.Rain{Hours: rain(s, 8)},
		Advice: today.Advice{Do: today.None, Why: message.New(today.NowBegins,
			message.At("start", s.Now.Add(time.Hour)))},
		Next: []today.Next{step(s, today.SetUp, 55, 85), step(s, today.Place, 85, 130, "H1"),
			step(s, today.Strip, 240, 0, "H4")}}
}

// live fills in the answer for one minute of a day under way.
func live(s *view.Setting, state string) {
	entry := pour.LogEntry{ID: "8a6c9d10-0000-4000-8000-000000000001", Kind: pour.EntryPlaced, Pad: "H1",
		At: s.Now.Add(-20 * time.Minute), RecordedAt: s.Now.Add(-19 * time.Minute)}
	s.Log = []pour.LogEntry{entry}
	n := today.Now{At: s.Now, Day: today.UnderWay, Rain: today.Rain{Hours: rain(*s, 6)},
		Advice: today.Advice{Do: today.GoOn, Pads: []string{"H3"},
			Why: message.New(today.NowGoOn, message.Name("pad", "H3"), message.Chance("", 0.02))},
		Next: []today.Next{step(*s, today.Finish, 23, 40, "H1"), step(*s, today.Place, 45, 90, "H3"),
			step(*s, today.Place, 95, 140, "H5"), step(*s, today.Finish, 200, 240, "H3"),
			step(*s, today.CleanUp, 300, 320), step(*s, today.Damp, 480, 7*24*60, "H1"),
			step(*s, today.Damp, 500, 7*24*60, "H3"), step(*s, today.Strip, 22*60, 0, "H1"),
			step(*s, today.Strip, 22*60+20, 0, "H3")}}
	early := s.Now.Add(-90 * time.Minute)
	switch state {
	case "placing":
		n.Next[0] = step(*s, today.Place, -10, 28, "H3")
		n.Questions = []history.Question{{Ask: history.WasPlaced, Pads: []string{"H1"}, At: early}}
	case "both":
		n.Next[0], n.Next[1] = step(*s, today.Finish, -4, 31, "H1"), step(*s, today.Place, 10, 50, "H3")
	case "late":
		n.Next[0] = step(*s, today.Finish, -40, -12, "H1")
		n.Advice = today.Advice{Do: today.Wait, Until: s.Now.Add(20 * time.Minute), Why: message.New(today.NowWait,
			message.Name("pad", "H3"), message.Chance("", 0.31), message.At("until", s.Now.Add(20*time.Minute)))}
	case "undone":
		s.Log = append(s.Log, pour.LogEntry{ID: "8a6c9d10-0000-4000-8000-000000000002", Kind: pour.EntryUndone,
			Entry: entry.ID, At: s.Now, RecordedAt: s.Now})
	case "cover", "raining":
		s.Records[2] = pour.PadRecord{Pad: "H3", State: pour.Placed, PlacedAt: &entry.At}
		both := []string{"H1", "H3"}
		n.Advice = today.Advice{Do: today.Cover, Pads: both,
			Why: message.New(today.NowCover, message.Names("pads", both), message.Chance("", 0.62))}
		n.Rain.Hours, n.Rain.Reaches = rain(*s, 1), []today.Reach{{Pad: "H1", Chance: 0.5}, {Pad: "H3", Chance: 0.62}}
		if state == "raining" {
			n.Rain.Seen = true
			n.Advice.Why = message.New(today.NowCoverRaining, message.Names("pads", both))
		}
	case "after":
		s.Now = date(1).At(16*60+20, s.Zone)
		n.At, n.Day, n.Advice = s.Now, today.Done, today.Advice{Do: today.None, Why: message.New(today.NowAllPlaced)}
		for _, p := range []string{"H1", "H3", "H5"} {
			n.Questions = append(n.Questions,
				history.Question{Ask: history.WasFinished, Pads: []string{p}, At: s.Now.Add(-time.Hour)})
		}
		n.Questions = append(n.Questions,
			history.Question{Ask: history.WasPlaced, Pads: []string{"H5"}, At: s.Now.Add(-6 * time.Hour)})
		n.Next = []today.Next{step(*s, today.Cover, 130, 190, "H1"), step(*s, today.Cover, 140, 190, "H3"),
			step(*s, today.Uncover, 17*60, 0, "H1"), step(*s, today.Strip, 18*60, 0, "H1")}
		for i := range n.Next[:2] {
			n.Next[i].Why = message.New(today.StepCoverFrost, message.Names("pads", n.Next[i].Pads),
				message.Chance("", 0.3))
		}
	}
	n.Pads = pads(*s)
	s.Live = n
}

// many makes a project of sixty pads, some with long names, twenty of them poured in
// one morning.
func many(s *view.Setting) {
	s.Project.Pads, s.Records = nil, nil
	for i := range 60 {
		name := fmt.Sprintf("W%d", i+1)
		if i%20 == 0 {
			name = fmt.Sprintf("Walkway bay %d", i+1)
		}
		s.Project.Pads = append(s.Project.Pads, pour.Pad{Name: name, LengthM: 0.9, WidthM: 0.6, ThicknessM: 0.07,
			XM: float64(i%10) * 1.1, YM: float64(i/10) * 0.8})
		s.Records = append(s.Records, pour.PadRecord{Pad: name, State: pour.Waiting})
	}
	m, p := &s.Mornings[1], &s.Plan.Pours[0]
	one := m.Pads[0]
	m.Pads, p.Pads = nil, nil
	for i := range 20 {
		t := one
		t.Pad = s.Project.Pads[i].Name
		later := time.Duration(i) * 14 * time.Minute
		t.PlaceStart, t.PlaceEnd = one.PlaceStart.Add(later), one.PlaceStart.Add(later+13*time.Minute)
		t.FinishStart, t.FinishEnd = one.FinishStart.Add(later), one.FinishStart.Add(later+12*time.Minute)
		set := one.InitialSet.Add(later)
		t.InitialSet = &set
		m.Pads, p.Pads = append(m.Pads, t), append(p.Pads, t.Pad)
	}
	s.Plan.Unplaced = nil
	s.Reader.Today = unit.DateOf(s.Now, s.Zone)
}
