package planner

import (
	"math"
	"regexp"
	"testing"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/jobtest"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
)

// drySlabs is plain slabs that dry at a rate in kg/m2/h, and that freeze in the
// tracks below some number.
type drySlabs struct {
	*jobtest.PlainSlabs
	rate   float64
	freeze int
}

func (d drySlabs) Behave(q slabs.Query) *concrete.Behaviour {
	b := d.PlainSlabs.Behave(q)
	b.EvapPeak, b.Freezes = d.rate, q.Track < d.freeze
	return b
}

// cold slabs never set.
type cold struct{ *jobtest.PlainSlabs }

func (c cold) Behave(q slabs.Query) *concrete.Behaviour {
	b := c.PlainSlabs.Behave(q)
	b.InitialSet, b.FinalSet = concrete.Never, concrete.Never
	b.FinishFrom, b.FinishUntil = concrete.Never, concrete.Never
	b.StripFrom, b.FrostSafe, b.WalkFrom, b.CuredBy = concrete.Never, concrete.Never, concrete.Never, concrete.Never
	return b
}

// The binding reason of a morning names what, from when, how likely, which pad
// and until when.
func TestReasonsNameTheirFigures(t *testing.T) {
	wetFrom := func(hour, of, each int, mm float64) func(m, h int) float64 {
		return func(m, h int) float64 {
			if h%24 >= hour && m%of < each {
				return mm + float64(m)/1000
			}
			return 0
		}
	}
	in := func(members, tracks int, rain func(m, h int) float64) job.Job {
		return jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, members, tracks, func(_,
			h int) float64 {
			return jobtest.Mild(0, h)
		}, rain), 4)
	}
	frost := in(31, 31, jobtest.Dry)
	frost.Slabs = drySlabs{&jobtest.PlainSlabs{Weather: frost.Weather}, 0.3, 9}

	drying := in(31, 1, jobtest.Dry)
	drying.Slabs = drySlabs{&jobtest.PlainSlabs{Weather: drying.Weather}, 1.3, 0}

	thunder := in(31, 1, jobtest.Dry)
	for m := range 12 {
		w := &thunder.Weather.Members[m]
		w.Thunder = make([]bool, len(w.RainMM))
		for h := range w.Thunder {
			w.Thunder[h] = h%24 >= 9 && h%24 < 18
		}
	}

	short := in(31, 1, jobtest.Dry)
	short.Days = jobtest.Light(jobtest.Begin, 5, "09:00", "11:00")

	stock := in(31, 1, jobtest.Dry)
	three := 3
	stock.Spec.Stock.BagsOnHand = &three
	stock.Spec.Stock.Deliveries = []pour.Delivery{{Date: jobtest.Begin.AddDays(2), Bags: 40}}

	forms := in(31, 1, jobtest.Dry)
	forms.Spec = jobtest.GridJob(1, 4, 1, 1, 0.075, false, 1, 1, 2)
	forms.Records = held(&forms, 2)

	order := in(31, 1, jobtest.Dry)
	order.Spec = jobtest.GridJob(1, 2, 1, 1, 0.075, true, 1, 0, 0)
	order.Records = held(&order, 1)

	days := in(31, 1, jobtest.Dry)
	days.Spec.Crew.Days = []string{"tue"}

	ice := jobtest.JobFor(jobtest.JobJ4(), jobtest.Weather(8, 31, 1, func(_, h int) float64 {
		return jobtest.Mild(0,
			h) - 25
	}, jobtest.Dry), 4)

	still := ice
	still.Slabs = cold{&jobtest.PlainSlabs{Weather: still.Weather}}

	slow := in(31, 1, jobtest.Dry)
	slow.Slabs = cold{&jobtest.PlainSlabs{Weather: slow.Weather}}

	gap := in(31, 1, func(_, h int) float64 {
		if h%24 == 11 || h%24 == 16 {
			return math.NaN()
		}
		return 0
	})

	for _, c := range []struct {
		what string
		job  job.Job
		want string
	}{
		{"rain", in(31, 1, wetFrom(10, 31, 12, 4)),
			`^rain_reaches_pad pad=A1 rain_at=\S+T10:00:00\S+ set_at=\S+ chance=0.3871$`},
		{"rain in all", in(31, 1, wetFrom(7, 31, 31, 4)),
			`^rain_reaches_pad pad=A1 rain_at=\S+T07:00:00\S+ set_at=\S+ chance=1$`},
		{"drawn rain", in(200, 1, wetFrom(10, 100, 38, 4)),
			`^rain_reaches_pad pad=A1 rain_at=\S+T10:00:00\S+ set_at=\S+ chance=0.38$`},
		{"rain in the only forecast", in(1, 1, wetFrom(7, 1, 1, 4)),
			`^rain_reaches_pad_forecast pad=A1 rain_at=\S+T07:00:00\S+ set_at=\S+$`},
		{"light rain", in(31, 1, wetFrom(7, 31, 20, 0.5)),
			`^light_rain_reaches_pad pad=A1 rain_at=\S+T07:00:00\S+ finish_at=\S+ chance=0.6452$`},
		{"one more pad", in(31, 1, wetFrom(14, 31, 12, 4)),
			`^one_more_pad why=nothing_threatens pad=A1 set_at=\S+T13:\S+` +
				` more=rain_reaches_pad pad=A2 rain_at=\S+T14:00:00\S+ set_at=\S+T14:\S+ chance=0.3871$`},
		{"frost", frost, `^pad_freezes pad=A\d safe_at=2026-06-09T\S+ chance=0.2903$`},
		{"drying", drying, `^care_drying at=\S+ rate_kg_m2_h=1.3 limit_kg_m2_h=1$`},
		{"thunder", thunder, `^thunder_all_day from_at=\S+T06:00:00\S+ until_clock=19:00 chance=0.3871$`},
		{"daylight", short, `^ready_too_late begin_at=\S+T09:00:00\S+ ready_at=\S+ ` +
			`dark_at=\S+T11:00:00\S+ stop_clock=19:00$`},
		{"stock", stock, `^bags_short_until pad=A1 missing=2 date=2026-06-10$`},
		{"forms", forms, `^forms_full forms=F1 pads=A1, A2 at=2026-06-09T\S+$`},
		{"order", order, `^waits_until pad=A2 other=A1 until_term=stripped at=2026-06-09T\S+$`},
		{"crew days", days, `^day_off$`},
		{"frozen base", ice, `^base_frozen_all_day$`},
		{"frozen base that nothing sets on", still, `^base_frozen_all_day$`},
		{"nothing sets", slow, `^sets_beyond_forecast$`},
		{"unknown rain", gap, `^rain_not_known pad=A\d set_at=\S+$`},
	} {
		if got := mustMake(t, c.job).Mornings[0].ReasonData.String(); !regexp.MustCompile(c.want).MatchString(got) {
			t.Errorf("%s: %s", c.what, got)
		}
	}
}

// held is the log of a job whose first pads were placed late the evening before.
func held(in *job.Job, n int) []pour.PadRecord {
	in.Now = jobtest.Begin.At(5*60, jobtest.Zone)
	at := jobtest.Begin.At(0, jobtest.Zone).Add(4 * time.Hour)
	var out []pour.PadRecord
	for _, p := range in.Spec.Pads[:n] {
		out = append(out, pour.PadRecord{Pad: p.Name, State: pour.Finished, PlacedAt: &at, FinishedAt: &at,
			Castings: []pour.Casting{{At: at}}})
	}
	return out
}
