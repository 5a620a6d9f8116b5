package notify

import (
	"testing"
	"time"

	"dryslot/internal/planner/job"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// A page opens with what to do, and when to start, in each language.
func TestAHeadlineSaysWhatToDo(t *testing.T) {
	coast, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		t.Fatal(err)
	}
	date := unit.Date{Year: 2026, Month: time.November, Day: 28}
	at := func(h, m int) time.Time { return time.Date(2026, time.November, 28, h, m, 0, 0, coast) }
	score := 80
	morning := job.Morning{Date: date, Score: &score, Verdict: job.VerdictPour,
		Window: &job.Window{Start: at(7, 0), LatestStart: at(9, 0)},
		Pads:   []job.PadTimes{{Pad: "H1", PlaceStart: at(7, 30)}, {Pad: "H3", PlaceEnd: at(11, 48), FinishEnd: at(16, 5)}}}
	care, hold, idle, unknown := morning, morning, morning, morning
	care.Verdict, hold.Verdict, idle.Pads, unknown.Score = job.VerdictCare, job.VerdictHold, nil, nil
	fixed := morning
	fixed.Window = &job.Window{Start: at(7, 0), LatestStart: at(7, 0)}
	for _, c := range []struct {
		m                         job.Morning
		head, start, cabeza, hora string
	}{
		{morning, "Pour two pads tomorrow, Saturday, November 28: H1, H3.",
			"Start at 7:00 am, or any time until 9:00 am. From 7:00 am, the last pad is placed by about 11:48 am, finished by about 4:05 pm.",
			"mañana, sábado 28 de noviembre, cuele dos losas: H1, H3.",
			"Empiece a las 7:00 a. m., o a cualquier hora hasta las 9:00 a. m. Desde las 7:00 a. m., la última losa queda colada más o menos a las 11:48 a. m., acabada a las 4:05 p. m."},
		{fixed, "Pour two pads tomorrow, Saturday, November 28: H1, H3.",
			"Start at 7:00 am. Last pad placed by about 11:48 am, finished by about 4:05 pm.",
			"mañana, sábado 28 de noviembre, cuele dos losas: H1, H3.",
			"Empiece a las 7:00 a. m. Última losa colada más o menos a las 11:48 a. m., acabada a las 4:05 p. m."},
		{hold, "Don't pour tomorrow, Saturday, November 28.", "", "mañana, sábado 28 de noviembre: no cuele.", ""},
		{idle, "Nothing to pour tomorrow, Saturday, November 28.", "", "mañana, sábado 28 de noviembre: nada que colar.", ""},
		{unknown, "No forecast yet: no answer for tomorrow, Saturday, November 28.", "-",
			"Todavía no hay pronóstico para mañana, sábado 28 de noviembre.", "-"},
	} {
		for lang, want := range map[string][2]string{"en-US": {c.head, c.start}, "es-419": {c.cabeza, c.hora}} {
			r := say.HabitsOf(lang)
			r.Zone, r.Today = coast, date.AddDays(-1)
			if got := plain(r.Say(Headline(c.m))); got != want[0] {
				t.Errorf("%q, want %q", got, want[0])
			}
			if got := plain(r.Say(StartLine(c.m))); want[1] != "-" && got != want[1] {
				t.Errorf("%q, want %q", got, want[1])
			}
		}
	}
}
