package planner

import (
	"math"
	"regexp"
	"testing"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/planner/job"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
)

// drySlabs is plain slabs that dry at a rate in kg/m2/h, and that freeze in the
// tracks below some number.
type drySlabs struct {
	*plainSlabs
	rate   float64
	freeze int
}

func (d drySlabs) Behave(q slabs.Query) *concrete.Behaviour {
	b := d.plainSlabs.Behave(q)
	b.EvapPeak, b.Freezes = d.rate, q.Track < d.freeze
	return b
}

// The binding reason of a morning names what, from when, in how many forecasts,
// which pad and until when; drawn weathers are told as a chance.
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
		return jobFor(jobJ4(), weather(8, members, tracks, func(_, h int) float64 { return mild(0, h) }, rain), 4)
	}
	frost := in(31, 31, dry)
	frost.Slabs = drySlabs{&plainSlabs{wx: frost.Weather}, 0.3, 9}

	drying := in(31, 1, dry)
	drying.Slabs = drySlabs{&plainSlabs{wx: drying.Weather}, 1.3, 0}

	thunder := in(31, 1, dry)
	for m := range 12 {
		w := &thunder.Weather.Members[m]
		w.Thunder = make([]bool, len(w.RainMM))
		for h := range w.Thunder {
			w.Thunder[h] = h%24 >= 9 && h%24 < 18
		}
	}

	short := in(31, 1, dry)
	short.Days = light(begin, 5, "09:00", "11:00")

	stock := in(31, 1, dry)
	three := 3
	stock.Spec.Stock.BagsOnHand = &three
	stock.Spec.Stock.Deliveries = []pour.Delivery{{Date: begin.AddDays(2), Bags: 40}}

	forms := in(31, 1, dry)
	forms.Spec = gridJob(1, 4, 1, 1, 0.075, false, 1, 1, 2)
	forms.Records = held(&forms, 2)

	order := in(31, 1, dry)
	order.Spec = gridJob(1, 2, 1, 1, 0.075, true, 1, 0, 0)
	order.Records = held(&order, 1)

	days := in(31, 1, dry)
	days.Spec.Crew.Days = []string{"tue"}

	ice := jobFor(jobJ4(), weather(8, 31, 1, func(_, h int) float64 { return mild(0, h) - 25 }, dry), 4)

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
		{"rain", in(31, 1, wetFrom(10, 31, 12, 4)), `^rain from 10:00 in 12 of 31 forecasts would reach A1 before it sets at about \d\d:\d\d$`},
		{"rain in all", in(31, 1, wetFrom(7, 31, 31, 4)), `^rain from 07:00 in all 31 forecasts would reach A1 before it sets at about \d\d:\d\d$`},
		{"drawn rain", in(200, 1, wetFrom(10, 100, 38, 4)), `^rain from 10:00 with a chance of 38 % would reach A1 before it sets at about \d\d:\d\d$`},
		{"light rain", in(31, 1, wetFrom(7, 31, 20, 0.5)), `^light rain from 07:00 in 20 of 31 forecasts would reach A1 before it is finished at about \d\d:\d\d$`},
		{"one more pad", in(31, 1, wetFrom(14, 31, 12, 4)), `^none of 31 forecasts brings rain that would harm A1 before it sets at about 13:\d\d; with one more pad, rain from 14:00 in 12 of 31 forecasts would reach A2 before it sets at about 14:\d\d$`},
		{"frost", frost, `^frost in 9 of 31 forecasts would reach A\d before it is safe from it at about Tue \d\d:\d\d$`},
		{"drying", drying, `^the surface would dry at about 1\.30 kg/m2/h \(0\.27 lb/ft2/h\) at \d\d:\d\d, while it is soft: from 1\.0 kg/m2/h \(0\.2 lb/ft2/h\) on it may crack$`},
		{"thunder", thunder, `^thunder between 06:00 and 19:00 in 12 of 31 forecasts: nobody pours under it$`},
		{"daylight", short, `^a pad begun at 09:00 is ready to be finished at about \d\d:\d\d, too late for last light at 11:00 and 19:00, when the crew stops$`},
		{"stock", stock, `^not enough bags for another pad: A1 takes 5 and 3 are left until the delivery on Wed 10 Jun$`},
		{"forms", forms, `^the forms of F1 hold A1 and A2, to be stripped at about Tue \d\d:\d\d$`},
		{"order", order, `^no pad is due: A2 waits for A1 to be stripped, at about Tue \d\d:\d\d$`},
		{"crew days", days, `^the crew does not work on Mondays$`},
		{"frozen base", ice, `^the base is frozen all day$`},
		{"unknown rain", gap, `^the rain is unknown in some hours before A\d sets at about \d\d:\d\d$`},
	} {
		if got := mustMake(t, c.job).Mornings[0].Reason; !regexp.MustCompile(c.want).MatchString(got) {
			t.Errorf("%s: %s", c.what, got)
		}
	}
}

// held is the log of a job whose first pads were placed late the evening before.
func held(in *job.Job, n int) []pour.PadRecord {
	in.Now = begin.At(5*60, zone)
	at := begin.At(0, zone).Add(4 * time.Hour)
	var out []pour.PadRecord
	for _, p := range in.Spec.Pads[:n] {
		out = append(out, pour.PadRecord{Pad: p.Name, State: pour.Finished, PlacedAt: &at, FinishedAt: &at, Castings: []pour.Casting{{At: at}}})
	}
	return out
}
