package notify

import (
	"math/rand/v2"
	"testing"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

func TestTheProtocolIsKept(t *testing.T) {
	noon := time.Date(2026, 6, 9, 12, 0, 0, 0, time.UTC)
	night := time.Date(2026, 6, 9, 2, 0, 0, 0, time.UTC)
	min := func(n int) time.Duration { return time.Duration(n) * time.Minute }
	alerts := pour.DefaultSpec().Alerts
	on := func(k Kind, at time.Time) Occasion {
		return Occasion{Kind: k, Holds: true, DueAt: at, UsedBy: at.Add(8 * time.Hour)}
	}
	with := func(o Occasion, f func(*Occasion)) Occasion { f(&o); return o }
	soft := Danger{SoftConcrete: true}
	for name, c := range map[string]struct {
		o      Occasion
		told   Sendings
		danger Danger
		now    time.Time
		want   Do
		at     time.Time
		loud   bool
	}{
		"due":            {on(Rain, noon), Sendings{}, soft, noon, Send, time.Time{}, true},
		"quiet kind due": {on(Evening, noon), Sendings{}, Danger{}, noon, Send, time.Time{}, false},
		"too early": {on(Morning, noon.Add(min(5))), Sendings{}, Danger{}, noon, Wait, noon.Add(min(5)),
			false},
		"past its use": {with(on(Rain, noon), func(o *Occasion) { o.UsedBy = noon }), Sendings{}, soft, noon,
			Expire, time.Time{}, false},
		"no more, untold": {with(on(Rain, noon), func(o *Occasion) { o.Holds = false }), Sendings{}, soft, noon,
			Expire, time.Time{}, false},
		"no more, told": {with(on(Rain, noon), func(o *Occasion) { o.Holds = false }),
			Sendings{Sent: 1, LastAt: noon}, soft, noon.Add(min(9)), Nothing, time.Time{}, false},
		"told, not urgent": {on(Evening, noon), Sendings{Sent: 1, LastAt: noon}, Danger{}, noon.Add(min(9)), Nothing,
			time.Time{}, false},
		"told a minute ago": {on(Stop, noon), Sendings{Sent: 1, LastAt: noon}, soft, noon.Add(min(1)), Wait,
			noon.Add(min(3)), false},
		"unanswered": {on(Stop, noon), Sendings{Sent: 2, LastAt: noon}, soft, noon.Add(min(3)), Send,
			time.Time{}, true},
		"answered": {on(Stop, noon), Sendings{Sent: 1, LastAt: noon, Answered: true}, soft, noon.Add(min(3)),
			Nothing, time.Time{}, false},
		"three times": {on(Stop, noon), Sendings{Sent: 3, LastAt: noon}, soft, noon.Add(min(3)), PassOn,
			time.Time{}, true},
		"passed on": {on(Stop, noon), Sendings{Sent: 3, LastAt: noon, Passed: true}, soft, noon.Add(min(9)),
			Nothing, time.Time{}, false},
		"at night, nothing soft":  {on(Rain, night), Sendings{}, Danger{}, night, Wait, night.Add(min(150)), false},
		"at night, soft concrete": {on(Rain, night), Sendings{}, soft, night, Send, time.Time{}, true},
		"at night, frost":         {on(Dusk, night), Sendings{}, Danger{Frost: true}, night, Send, time.Time{}, true},
		"at night, no urgency":    {on(Strip, night), Sendings{}, soft, night, Wait, night.Add(min(150)), false},
		"a start in the quiet": {with(on(Morning, night), func(o *Occasion) { o.InStart = true }), Sendings{}, Danger{},
			night, Send, time.Time{}, false},
		"useless after the quiet": {with(on(Strip, night), func(o *Occasion) {
			o.UsedBy = night.Add(min(60))
		}), Sendings{},
			Danger{}, night, Wait, night.Add(min(60)), false},
		"ready, told": {with(on(Ready, noon), func(o *Occasion) { o.Closes = noon.Add(min(60)) }),
			Sendings{Sent: 1, LastAt: noon}, soft, noon.Add(min(9)), Nothing, noon.Add(min(45)), false},
		"ready, in the last hour": {with(on(Ready, noon), func(o *Occasion) { o.Closes = noon.Add(min(60)) }),
			Sendings{Sent: 1, LastAt: noon}, soft, noon.Add(min(45)), Send, time.Time{}, true},
		"ready, first told so late": {with(on(Ready, noon), func(o *Occasion) {
			o.Closes = noon.Add(min(10))
		}), Sendings{},
			soft, noon, Send, time.Time{}, true},
	} {
		got := Decide(c.o, c.told, c.danger, alerts, time.UTC, c.now)
		if got.Do != c.want || !got.At.Equal(c.at) || got.Loud != c.loud {
			t.Errorf("%s: %+v, want %s at %v, loud %v", name, got, c.want, c.at, c.loud)
		}
	}
}

// However a day goes, nothing is sent that has lost its use, nothing more than
// three times and three minutes apart, and what does not say when to ask again
// is settled.
func TestADayOfDecisions(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	alerts := pour.DefaultSpec().Alerts
	kinds := []Kind{Evening, Morning, Rain, Stop, Ready, Dusk, Strip, Thunder}
	for range 2000 {
		now := time.Date(2026, 6, 9, rng.IntN(24), 0, 0, 0, time.UTC)
		o := Occasion{Kind: kinds[rng.IntN(len(kinds))], Holds: true,
			DueAt: now.Add(time.Duration(rng.IntN(120)) * time.Minute)}
		o.UsedBy = o.DueAt.Add(time.Duration(1+rng.IntN(400)) * time.Minute)
		o.Closes = o.UsedBy
		var told Sendings
		ended := o.UsedBy
		for step := 0; ; step++ {
			if step > 20 {
				t.Fatalf("no end of deciding: %+v, %+v", o, told)
			}
			if rng.IntN(6) == 0 && o.Holds {
				o.Holds, ended = false, now
			}
			d := Decide(o, told, Danger{SoftConcrete: rng.IntN(2) == 0}, alerts, time.UTC, now)
			if d.Do == Send || d.Do == PassOn {
				if !o.Holds || !now.Before(o.UsedBy) || now.Before(o.DueAt) || now.After(ended) {
					t.Fatalf("sent at %v: %+v", now, o)
				}
				if told.Sent > 0 && now.Sub(told.LastAt) < RepeatAfter {
					t.Fatalf("repeated after %v", now.Sub(told.LastAt))
				}
				told.LastAt = now
				if d.Do == PassOn {
					told.Passed = true
				} else {
					told.Sent++
				}
				now = now.Add(time.Minute)
				continue
			}
			if d.At.IsZero() {
				break
			}
			now = d.At
		}
		if told.Sent > MostSent {
			t.Fatalf("sent %d times", told.Sent)
		}
	}
}

func TestANewEventNeedsAnHourOfRest(t *testing.T) {
	now := time.Date(2026, 6, 9, 12, 0, 0, 0, time.UTC)
	if Number(0, time.Time{}, now) != 1 || Number(1, now.Add(-59*time.Minute), now) != 1 ||
		Number(1, now.Add(-time.Hour), now) != 2 {
		t.Error("events are numbered wrongly")
	}
	a := Occasion{Kind: Rain, Date: unit.Date{Year: 2026, Month: 6, Day: 9}, Of: Event(1)}
	b := a
	b.Of = Event(2)
	if OccasionKey("p", a, "r") == OccasionKey("p", b, "r") {
		t.Error("two events have one key")
	}
}
