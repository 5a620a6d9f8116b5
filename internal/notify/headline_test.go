package notify

import (
	"testing"
	"time"

	"dryslot/internal/planner/job"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// A page opens with what to do, in each language.
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
		Pads: []job.PadTimes{{Pad: "H1", PlaceStart: at(7, 30)}, {Pad: "H3", PlaceEnd: at(11, 48),
			FinishEnd: at(16, 5)}}}
	care, hold, idle, unknown := morning, morning, morning, morning
	care.Verdict, hold.Verdict, idle.Pads, unknown.Score = job.VerdictCare, job.VerdictHold, nil, nil
	for _, c := range []struct {
		m            job.Morning
		head, cabeza string
	}{
		{morning, "Pour two pads tomorrow, Saturday, November 28: H1, H3.",
			"mañana, sábado 28 de noviembre, cuele dos losas: H1, H3."},
		{hold, "Don't pour tomorrow, Saturday, November 28.", "mañana, sábado 28 de noviembre: no cuele."},
		{idle, "Nothing to pour tomorrow, Saturday, November 28.", "mañana, sábado 28 de noviembre: nada que colar."},
		{unknown, "No forecast yet: no answer for tomorrow, Saturday, November 28.",
			"Todavía no hay pronóstico para mañana, sábado 28 de noviembre."},
	} {
		for lang, want := range map[string]string{"en-US": c.head, "es-419": c.cabeza} {
			r := say.HabitsOf(lang)
			r.Zone, r.Today = coast, date.AddDays(-1)
			if got := plain(r.Say(Headline(c.m))); got != want {
				t.Errorf("%q, want %q", got, want)
			}
		}
	}
}
