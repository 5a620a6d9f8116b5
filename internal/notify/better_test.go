package notify

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"dryslot/internal/message"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// The nearest better option stands in the evening's word where it makes another
// verdict of the morning, and nowhere else.
func TestTheBetterOptionIsTold(t *testing.T) {
	chance, score := 0.88, 71
	b := stands(t)
	b.Kind, b.Told = Evening, nil
	date := b.Date
	b.Morning.Date = date
	option := pour.Option{Date: date, ChangeData: message.New(job.WarmWater, message.Temperature("water", 50)),
		Verdict: "pour", Score: &score, ChanceUnharmed: &chance}
	const line = "Better: mix with water at 50°C, water first. Then pour: 88% chance all pads survive."
	for _, c := range []struct {
		what   string
		change func(b *Brief, o *pour.Option)
		want   bool
	}{
		{"another verdict, the evening before", func(*Brief, *pour.Option) {}, true},
		{"in the morning there is no time for it", func(b *Brief, _ *pour.Option) { b.Kind = Morning }, false},
		{"the same verdict", func(_ *Brief, o *pour.Option) { o.Verdict = "hold" }, false},
		{"another morning: the next pour is told already", func(_ *Brief, o *pour.Option) { o.Date = date.AddDays(1) },
			false},
	} {
		x, o := b, option
		c.change(&x, &o)
		x.Morning.Better = &o
		m, err := Compose(x, wording(x))
		if err != nil {
			t.Fatal(err)
		}
		flat := strings.Join(strings.Fields(plain(m.Text)), " ")
		if got := strings.Contains(flat, line); got != c.want {
			t.Errorf("%s: told %v:\n%s", c.what, got, m.Text)
		}
	}

	late := job.Morning{Date: date, Better: &pour.Option{Date: unit.Date{Year: 2026, Month: 11, Day: 29},
		ChangeData: message.New(job.PourInstead, message.Date("", unit.Date{Year: 2026, Month: 11, Day: 29})),
		Verdict:    "care", ChanceUnharmed: &chance}}
	if got := plain(wording(b).Say(Better(late))); got !=
		"Better: pour with care Sunday 29 November. 88% chance all pads survive." {
		t.Errorf("another morning: %s", got)
	}
	if got := Better(job.Morning{Date: date}); !got.IsZero() {
		t.Errorf("nothing better: %s", got)
	}
}

// What a crew makes of showers stands in the evening's word, whether a pour is
// planned or not.
func TestStandByIsTold(t *testing.T) {
	for name, b := range map[string]Brief{"a pour": shelter(t), "none": stands(t)} {
		b.Morning.StandBy = &job.StandBy{UpTo: 7, Likely: 5, Data: []message.Message{
			message.New(job.StandByPads, message.Count("up_to", 7), message.Count("likely", 5)),
			message.New(job.StandByGap, message.Within("gap", message.New(job.GapAfter, message.At("from", b.Now)))),
		}}
		m, err := Compose(b, wording(b))
		if err != nil {
			t.Fatal(err)
		}
		var got Payload
		if err := json.Unmarshal(m.Payload, &got); err != nil {
			t.Fatal(err)
		}
		has := func(code message.Code) bool {
			return slices.ContainsFunc(got.Data.Data, func(x message.Message) bool { return x.Code == code })
		}
		if !has(job.StandByPads) || !has(job.StandByGap) || got.Data.StandBy == nil || got.Data.StandBy.Text == "" {
			t.Errorf("%s: %s", name, m.Text)
		}
		t.Log(m.Text)
	}
}
