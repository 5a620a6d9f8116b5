package history

import (
	"testing"

	"dryslot/internal/message"
	"dryslot/internal/pour"
)

// Rain limits as planning defines them: 0.25, 2.5 and 7.6 mm in an hour
// (judgement, after the classes of rain in the AMS Glossary of Meteorology).
func TestRainIsJudgedByHowMuchHowLongAndWhatLayOver(t *testing.T) {
	plastic := pour.Cover{Kind: "plastic", Pads: 4}
	unsaid := entry(pour.EntryRainedOn, 2, "A") // neither how much nor how long
	amount := unsaid
	amount.RainMM = ptr(4.0)
	bare, under := rainOver(2, 2.5, 4), rainOver(2, 2.5, 4)
	bare.Covered, under.Covered = ptr(false), ptr(true)
	for name, c := range map[string]struct {
		rain    []pour.LogEntry
		covers  []pour.Cover
		code    message.Code
		lost    bool
		inspect bool
		asks    string
	}{
		"heavy":                 {[]pour.LogEntry{rainOver(2, 2.5, 4)}, nil, RainLost, true, false, ""},
		"the least that spoils": {[]pour.LogEntry{rainOver(2, 3, 2.5)}, nil, RainLost, true, false, ""},
		"light":                 {[]pour.LogEntry{rainOver(2, 3, 1)}, nil, RainSoft, false, true, ""},
		"a few drops":           {[]pour.LogEntry{rainOver(2, 3, 0.1)}, nil, RainTooLittle, false, false, ""},
		"nothing said":          {[]pour.LogEntry{unsaid}, nil, RainSoftUnsure, false, true, "how_much_rain:A"},
		"how long is not known": {[]pour.LogEntry{amount}, nil, RainSoftUnsure, false, true, "how_much_rain:A"},
		"spread over hours":     {[]pour.LogEntry{rainOver(2, 5, 6)}, nil, RainSoftUnsure, false, true, ""},
		"plastic is owned": {[]pour.LogEntry{rainOver(2, 2.5, 4)}, []pour.Cover{plastic}, RainSoftUnsure, false, true,
			"was_covered:A"},
		"nothing said, plastic": {[]pour.LogEntry{amount}, []pour.Cover{plastic}, RainSoftUnsure, false, true,
			"how_much_rain:A was_covered:A"},
		"plastic owned, not laid": {[]pour.LogEntry{bare}, []pour.Cover{plastic}, RainLost, true, false, ""},
		"said to be covered":      {[]pour.LogEntry{under}, nil, RainSoftCovered, false, true, ""},
		"covered by the log": {[]pour.LogEntry{entry(pour.EntryCovered, 1.5), rainOver(2, 2.5, 40)}, nil,
			RainSoftCovered, false, true, ""},
		"covered while it rains": {[]pour.LogEntry{entry(pour.EntryCovered, 2.2), rainOver(2, 2.5, 4)}, nil,
			RainSoftCovered, false, true, ""},
		"covered after it": {[]pour.LogEntry{entry(pour.EntryCovered, 2.6), rainOver(2, 2.5, 4)}, nil, RainLost, true,
			false, ""},
		"uncovered before": {[]pour.LogEntry{entry(pour.EntryCovered, 1.2), entry(pour.EntryUncovered, 1.9),
			rainOver(2, 2.5, 4)}, nil, RainLost, true, false, ""},
		"heavy while setting": {[]pour.LogEntry{rainOver(7, 7.5, 8)}, nil, RainSetting, false, true, ""},
		"4 mm while setting":  {[]pour.LogEntry{rainOver(7, 7.5, 4)}, nil, RainAfterSet, false, false, ""},
		"hard":                {[]pour.LogEntry{rainOver(12, 13, 20, "A")}, nil, RainAfterSet, false, false, ""},
		"seen to begin and end": {[]pour.LogEntry{entry(pour.EntryRainBegan, 2),
			{Kind: pour.EntryRainEnded, At: at(2.5), RainMM: ptr(4.0)}}, nil, RainLost, true, false, ""},
		"seen to begin": {[]pour.LogEntry{entry(pour.EntryRainBegan, 2)}, nil, RainSoftUnsure, false, true, ""},
	} {
		g := given(14, append([]pour.LogEntry{entry(pour.EntryPlaced, 1, "A")}, c.rain...)...)
		g.Spec = site(c.covers...)
		s := Replay(g)
		if len(s.Effects) != 1 || s.Effects[0].Code != c.code {
			t.Errorf("%s: effects %+v, want %s", name, s.Effects, c.code)
			continue
		}
		if a := s.Pads[0]; (a.Phase == Lost) != c.lost || (a.Inspect != nil) != c.inspect || asks(s) != c.asks {
			t.Errorf("%s: %s, asks %q", name, phases(s), asks(s))
		}
	}
}

func TestRainReachesWhatHadNotSetAndStandsThere(t *testing.T) {
	log := []pour.LogEntry{entry(pour.EntryPlaced, 1, "A"), entry(pour.EntryPlaced, 12, "B"),
		entry(pour.EntryPlaced, 14, "C"), rainOver(13, 13.5, 4)}
	if got := phases(Replay(given(15, log...))); got != "hard lost soft" {
		t.Error(got)
	}
}

// A pad that is half placed when rain comes is the worst case.
func TestRainOnAHalfPlacedPadIsAskedAbout(t *testing.T) {
	s := Replay(given(3, entry(pour.EntryPlacing, 1, "A"), rainOver(1.5, 2, 1)))
	if phases(s) != "placing+inspect waiting waiting" || asks(s) != "half_placed:A" {
		t.Errorf("%s, asks %s", phases(s), asks(s))
	}
}

func TestAnInspectionSettlesWhatRainLeftOpen(t *testing.T) {
	for result, want := range map[string]string{pour.ResultSound: "hard", pour.ResultBlemished: "hard",
		pour.ResultLost: "lost"} {
		look := entry(pour.EntryInspected, 20, "A")
		look.Result = result
		s := Replay(given(21, entry(pour.EntryPlaced, 1, "A"), entry(pour.EntryRainedOn, 2, "A"), look))
		if p := s.Pads[0]; string(p.Phase) != want || p.Inspect != nil || p.Result != result || asks(s) != "" {
			t.Errorf("%s: %+v, asks %s", result, p, asks(s))
		}
	}
}

// More rain, a longer soft time or less of a cover never helps a pad.
func TestMoreRainNeverHelps(t *testing.T) {
	worse := func(s State) int {
		switch p := s.Pads[0]; {
		case p.Phase == Lost:
			return 2
		case p.Inspect != nil:
			return 1
		}
		return 0
	}
	for _, hours := range []float64{0.2, 1, 3} {
		for _, from := range []float64{1.5, 5.5, 7} {
			last := 0
			for mm := 0.05; mm < 30; mm *= 1.3 {
				is := worse(Replay(given(14, entry(pour.EntryPlaced, 1, "A"), rainOver(from, from+hours, mm))))
				covered := worse(Replay(given(14, entry(pour.EntryPlaced, 1, "A"), entry(pour.EntryCovered, 1.2),
					rainOver(from, from+hours, mm))))
				if is < last || covered > is {
					t.Errorf("%.2f mm from %v over %v h: %d, with less %d, covered %d", mm, from, hours, is, last,
						covered)
				}
				last = is
			}
		}
	}
}

// Rain that was judged before codes were kept stays judged as it was.
func TestStoredConclusionsStand(t *testing.T) {
	rain := rainOver(2, 2.5, 1)
	rain.Effects = []pour.Effect{{Pad: "A", State: pour.Lost, Why: "as it was told"}}
	s := Replay(given(3, entry(pour.EntryPlaced, 1, "A"), rain))
	if phases(s) != "lost waiting waiting" || s.Effects[0].Code != message.StoredText ||
		s.Effects[0].Stored.Why != "as it was told" {
		t.Errorf("%s, %+v", phases(s), s.Effects)
	}
}

func TestRainSeenTodayIsTheDays(t *testing.T) {
	s := Replay(given(5, rainOver(-20, -19.5, 3), rainOver(1, 1.5, 2), entry(pour.EntryRainBegan, 4)))
	if d := s.Day; len(d.Rain) != 2 || !d.Rain[1].Open || d.RainSince == nil || !d.RainSince.Equal(at(4)) ||
		*d.Rain[0].RainMM != 2 {
		t.Errorf("%+v", d)
	}
}

// Rain that should have spoilt a pad is a conclusion: the builder knows better.
func TestTheBuilderKnowsWhetherRainSpoiltAPad(t *testing.T) {
	rain := []pour.LogEntry{entry(pour.EntryPlaced, 1, "A"), rainOver(2, 2.5, 4)}
	with := func(e pour.LogEntry) State { return Replay(given(20, append(rain, e)...)) }
	if s := with(entry(pour.EntryLost, 3, "A")); phases(s) != "lost waiting waiting" || s.Pads[0].Losses != 1 ||
		s.Outcomes[2].Fate != Counts {
		t.Errorf("lost, as the rain let expect: %s, %+v", phases(s), s.Pads[0])
	}
	if s := with(entry(pour.EntryFinished, 4, "A")); phases(s) != "hard+inspect waiting waiting" ||
		asks(s) != "was_lost:A" || s.Pads[0].Losses != 0 {
		t.Errorf("finished all the same: %s, asks %s", phases(s), asks(s))
	}
	sound := entry(pour.EntryInspected, 18, "A")
	sound.Result = pour.ResultSound
	if s := with(sound); phases(s) != "hard waiting waiting" || asks(s) != "" {
		t.Errorf("sound: %s, asks %s", phases(s), asks(s))
	}
	if s := with(entry(pour.EntryPlaced, 5, "A")); phases(s) != "hard waiting waiting" || s.Pads[0].Losses != 1 {
		t.Errorf("placed again: %s, %+v", phases(s), s.Pads[0])
	}
}
