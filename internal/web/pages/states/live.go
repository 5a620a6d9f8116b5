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
			set, hard := r.PlacedAt.Add(5*time.Hour), r.PlacedAt.Add(8*time.Hour)
			p.Phase, p.InitialSet, p.FinalSet = history.Soft, &set, &hard
			if s.Now.After(set) {
				p.Phase = history.Setting
			}
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

// planned is the morning of a pour: H4, placed the day before, is stripped in the forenoon.
func planned(s *view.Setting) today.Now {
	at := date(0).At(9*60, s.Zone)
	s.Records[3] = pour.PadRecord{Pad: "H4", State: pour.Finished, PlacedAt: &at, FinishedAt: &at}
	n := today.Now{At: s.Now, Day: today.Planned, Pads: pads(*s), Rain: today.Rain{Hours: rain(*s, 8)},
		Advice: today.Advice{Do: today.None, Why: message.New(today.NowBegins,
			message.At("start", s.Now.Add(time.Hour)))},
		Next: []today.Next{step(*s, today.SetUp, 55, 85), step(*s, today.Place, 85, 130, "H1"),
			step(*s, today.Strip, 240, 0, "H4")}}
	n.Pads[3].Phase = history.Hard
	return n
}

// entry is one entry of the log, made a minute after what it tells.
func entry(number int, kind pour.EntryKind, pad string, at time.Time) pour.LogEntry {
	return pour.LogEntry{ID: fmt.Sprintf("8a6c9d10-0000-4000-8000-%012d", number), Kind: kind, Pad: pad, At: at,
		RecordedAt: at.Add(time.Minute)}
}

// placed has a pad placed at an instant, and logged.
func placed(s *view.Setting, pad string, at time.Time) {
	s.Log = append(s.Log, entry(len(s.Log)+1, pour.EntryPlaced, pad, at))
	for i := range s.Records {
		if s.Records[i].Pad == pad {
			s.Records[i] = pour.PadRecord{Pad: pad, State: pour.Placed, PlacedAt: &at}
		}
	}
	for _, t := range s.Mornings[1].Pads {
		if t.Pad == pad {
			t.PlaceStart, t.PlaceEnd = at, at
			s.Standing = append(s.Standing, t)
		}
	}
}

// past has three pads that came to what they are before the day.
func past(s *view.Setting) {
	early, later := date(-9).At(9*60, s.Zone), date(-8).At(8*60, s.Zone)
	lost, cured := date(0).At(15*60, s.Zone), date(0).At(9*60, s.Zone)
	s.Records[1] = pour.PadRecord{Pad: "H2", State: pour.Lost, LostAt: &lost, Losses: 1}
	s.Records[3] = pour.PadRecord{Pad: "H4", State: pour.Cured, PlacedAt: &early, StrippedAt: &later, CuredAt: &cured}
	s.Records[5] = pour.PadRecord{Pad: "H6", State: pour.Stripped, PlacedAt: &early, StrippedAt: &later}
	s.Plan.Unplaced = nil
}

// live fills in the answer for one minute of a day under way: H1 was placed at 7:40,
// H3 and H5 come next.
func live(s *view.Setting, state string) {
	s.Now, s.Reader.Today = date(1).At(9*60+40, s.Zone), date(1)
	past(s)
	placed(s, "H1", s.Now.Add(-2*time.Hour))
	n := today.Now{At: s.Now, Day: today.UnderWay, Logged: true, Rain: today.Rain{Hours: rain(*s, 6)},
		Advice: today.Advice{Do: today.GoOn, Pads: []string{"H3"},
			Why: message.New(today.NowGoOn, message.Name("pad", "H3"), message.Chance("", 0.02))},
		Next: []today.Next{step(*s, today.Finish, 23, 40, "H1"), step(*s, today.Place, 45, 90, "H3"),
			step(*s, today.Place, 95, 140, "H5"), step(*s, today.Finish, 200, 240, "H3"),
			step(*s, today.CleanUp, 300, 320), step(*s, today.Damp, 480, 7*24*60, "H1"),
			step(*s, today.Damp, 500, 7*24*60, "H3"), step(*s, today.Strip, 22*60, 0, "H1"),
			step(*s, today.Strip, 22*60+20, 0, "H3")}}
	covered := ""
	switch state {
	case "placing": // after a shower: H1 lies under plastic, and nobody logged that P2 was placed before it
		at := s.Now.Add(-3 * time.Hour)
		placed(s, "P2", at)
		s.Log = s.Log[:1]
		n.Questions = []history.Question{{Ask: history.WasPlaced, Pads: []string{"P2"}, At: at}}
		covered = "H1"
		n.Next[0], n.Next[1] = step(*s, today.Place, -10, 28, "H3"), step(*s, today.Uncover, 0, 0, "H1")
	case "both":
		n.Next[0], n.Next[1] = step(*s, today.Finish, -4, 31, "H1"), step(*s, today.Place, 10, 50, "H3")
	case "late":
		n.Next[0] = step(*s, today.Finish, -40, -12, "H1")
		n.Advice = today.Advice{Do: today.Wait, Until: s.Now.Add(20 * time.Minute), Why: message.New(today.NowWait,
			message.Name("pad", "H3"), message.Chance("", 0.31), message.At("until", s.Now.Add(20*time.Minute)))}
	case "undone": // H1 was not placed after all, and is being placed
		s.Log = append(s.Log, pour.LogEntry{ID: "8a6c9d10-0000-4000-8000-000000000002", Kind: pour.EntryUndone,
			Entry: s.Log[0].ID, At: s.Now, RecordedAt: s.Now})
		s.Records[0], s.Standing = pour.PadRecord{Pad: "H1", State: pour.Waiting}, nil
		n.Advice = today.Advice{Do: today.GoOn, Pads: []string{"H1"},
			Why: message.New(today.NowGoOn, message.Name("pad", "H1"), message.Chance("", 0.02))}
		n.Next = []today.Next{step(*s, today.Place, -20, 15, "H1"), step(*s, today.Place, 45, 90, "H3"),
			step(*s, today.Place, 95, 140, "H5"), step(*s, today.Finish, 160, 180, "H1"),
			step(*s, today.Finish, 200, 240, "H3"), step(*s, today.CleanUp, 300, 320)}
	case "cover", "raining":
		placed(s, "H3", s.Now.Add(-20*time.Minute))
		both := []string{"H1", "H3"}
		n.Advice = today.Advice{Do: today.Cover, Pads: both,
			Why: message.New(today.NowCover, message.Names("pads", both), message.Chance("", 0.62))}
		n.Rain.Hours, n.Rain.Reaches = rain(*s, 1), []today.Reach{{Pad: "H1", Chance: 0.5}, {Pad: "H3", Chance: 0.62}}
		why := message.New(today.StepCoverRain, message.Names("pads", both), message.Chance("", 0.62))
		if state == "raining" {
			n.Rain.Seen = true
			why = message.New(today.NowCoverRaining, message.Names("pads", both))
			n.Advice.Why = why
			s.Log = append(s.Log, entry(3, pour.EntryRainBegan, "", s.Now.Add(-4*time.Minute)))
		}
		n.Next[1] = step(*s, today.Cover, 0, 0, both...)
		n.Next[1].Why = why
		n.Next[0], n.Next[1] = n.Next[1], n.Next[0]
	case "after": // H1 was logged; that H3 and H5 were placed, and all three finished, was not
		s.Now = date(1).At(16*60+20, s.Zone)
		for i, p := range []string{"H3", "H5"} {
			at := s.Now.Add(-time.Duration(7-i) * time.Hour)
			placed(s, p, at)
			n.Questions = append(n.Questions, history.Question{Ask: history.WasPlaced, Pads: []string{p}, At: at})
		}
		s.Log = s.Log[:1]
		for i, p := range []string{"H1", "H3", "H5"} {
			n.Questions = append(n.Questions, history.Question{Ask: history.WasFinished, Pads: []string{p},
				At: s.Now.Add(-time.Duration(5-i) * time.Hour)})
		}
		n.At, n.Day, n.Advice = s.Now, today.Done, today.Advice{Do: today.None, Why: message.New(today.NowAllPlaced)}
		n.Next = []today.Next{step(*s, today.Cover, 130, 190, "H1"), step(*s, today.Cover, 140, 190, "H3"),
			step(*s, today.Cover, 150, 190, "H5"), step(*s, today.Uncover, 17*60, 0, "H1"),
			step(*s, today.Strip, 18*60, 0, "H1")}
		for i := range n.Next[:3] {
			n.Next[i].Why = message.New(today.StepCoverFrost, message.Names("pads", n.Next[i].Pads),
				message.Chance("", 0.3))
		}
	}
	if n.Advice.Do != today.Cover && state != "after" {
		s.Plan.Pours[0].Pads = []string{"H3", "H5"}
	}
	n.Pads = pads(*s)
	for i := range n.Pads {
		p := &n.Pads[i]
		if p.Covered = p.Pad == covered; p.Covered {
			at := s.Now.Add(-30 * time.Minute)
			p.Cover, p.CoveredAt = pour.Plastic, &at
		}
	}
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
