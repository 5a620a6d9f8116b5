package policy

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/crewday"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/planner/job"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Workday decides about one day from hour to hour, with what was known of the
// project in the morning and one forecast. A newer forecast asks for a new one.
// It is not safe for use by several goroutines.
type Workday struct {
	f       *Prepared
	m       *Model
	day     int
	order   []int // pads that can be placed today, in order
	sky     *belief.Belief
	channel belief.Channel
	offset  float64 // minute of the frame at which the belief begins
	thunder [][]bool
	harm    harm.SoftPad
}

// Moment is what is known during the day.
type Moment struct {
	Now     time.Time
	SetUp   bool // the crew has set up
	Placed  []PlacedToday
	Raining bool       // rain of 0.25 mm or more has begun in this hour
	Before  [3]float64 // mm in the hour before and the two before that; NaN: not seen
	Nowcast belief.Nowcast
	Proven  *belief.Reliability // of the nowcast; nil: belief.Stated
}

// PlacedToday is a pad whose placing has begun today.
type PlacedToday struct {
	Pad               string
	At                time.Time
	Finished, Covered bool
}

// What covering costs, and what waiting must gain, in days (judgement).
const (
	coverHour = 0.02
	leastGain = 0.02
)

// The belief reaches from some hours before the day's start into the night,
// when the last pads have set; so many hours ahead a next pad is thought of.
const (
	beliefHours   = 36
	beliefBefore  = 4
	mostHourSteps = 16
)

// NewWorkday makes the day of job.Now ready to be decided on. lib is where
// members of the day's belief come from. The nowcast is taken to have the
// reliability stated in package belief. Errors are those of Make; fault.Invalid
// also for a job without weather.
func NewWorkday(ctx context.Context, in job.Job, lib *belief.Library) (w *Workday, err error) {
	defer Caught(&err)
	if err := CheckJob(&in); err != nil {
		return nil, err
	}
	w = &Workday{day: -1, harm: harm.Soft(harm.Rain(in.Spec.Limits.Harm), false)}
	if in.Weather == nil {
		return w, nil
	}
	if w.f, err = Prepare(ctx, &in); err != nil {
		return nil, err
	}
	today := unit.DateOf(in.Now, in.Zone)
	for i := range w.f.Days {
		if d := &w.f.Days[i]; d.Date == today && d.Off.IsZero() && len(d.Starts) > 0 {
			w.day = i
		}
	}
	if w.day < 0 {
		return w, nil
	}
	w.m = NewModel(w.f, w.day, true, nil)
	w.setOrder()
	return w, w.believe(ctx, lib, w.f.Weather)
}

// setOrder lists the pads that can be placed at the day's last start or before,
// as far as forms and bags go. A sequence that is short of forms does not hold up
// one that takes others.
func (w *Workday) setOrder() {
	var s State
	var most, n [MostGroups]uint8
	last := len(w.f.Days[w.day].Starts) - 1
	w.m.Available(w.day, last, &s, &most)
	for g, seq := range w.m.Seqs {
		for n[g] < most[g] && len(w.order) < crewday.MostPads {
			if !w.m.Free(w.day, last, &s, &n, seq[n[g]], 0, len(w.order)) {
				break
			}
			n[g]++
			if !w.m.formsHold(w.day, 0, &s, &n) || !w.m.BagsHold(w.day, &s, &n) {
				n[g]--
				break
			}
			w.order = append(w.order, seq[n[g]-1])
		}
	}
}

// Renew makes the day's belief anew from a newer forecast, that of now. The plan
// of the days after, and how slabs fare, stay those of the forecast of the
// morning; so do the members' hours before now, of a single run: the same member
// has the same luck in both, and those that were right about the hours past then
// count for more.
//
// Errors: fault.Invalid for a forecast without that hour.
func (w *Workday) Renew(ctx context.Context, lib *belief.Library, wx *forecast.Scenarios, now time.Time) (err error) {
	defer Caught(&err)
	if w.day < 0 {
		return nil
	}
	if _, ok := wx.Index(now.Truncate(time.Hour)); !ok {
		var bad fault.List
		bad.Add("wx", wx.Start.UTC().Format(time.RFC3339), "must hold the hour of "+now.UTC().Format(time.RFC3339))
		return bad.Err("the day can't go on with this forecast")
	}
	if old := w.f.Weather; len(old.Members) == len(wx.Members) && wx.Tracks < len(wx.Members) {
		wx = spliced(old, wx, now)
	}
	return w.believe(ctx, lib, wx)
}

// spliced returns the rain of one forecast before an instant and of another from
// then on, member by member.
func spliced(old, wx *forecast.Scenarios, at time.Time) *forecast.Scenarios {
	out := *wx
	apart := int(wx.Start.Sub(old.Start) / time.Hour)
	until := min(max(0, int(at.Sub(wx.Start)/time.Hour)), wx.Hours)
	out.Members = make([]forecast.Weather, len(wx.Members))
	for m := range out.Members {
		out.Members[m] = wx.Members[m]
		rain := slices.Clone(wx.Members[m].RainMM)
		for h := range until {
			if k := h + apart; k >= 0 && k < old.Hours {
				rain[h] = old.Members[m].RainMM[k]
			}
		}
		out.Members[m].RainMM = rain
	}
	return &out
}

func (w *Workday) believe(ctx context.Context, lib *belief.Library, wx *forecast.Scenarios) error {
	f, d := w.f, &w.f.Days[w.day]
	begin := f.Start.Add(time.Duration(HourOf(min(d.open, f.Now))-beliefBefore) * time.Hour)
	first := max(0, int(begin.Sub(wx.Start)/time.Hour))
	hours := min(beliefHours, wx.Hours-first)
	var err error
	at := belief.Place{Latitude: f.Spec.Latitude, Longitude: f.Spec.Longitude, WetShare: wetShare(wx)}
	w.sky, err = belief.New(ctx, lib, at, wx, wx.Start.Add(time.Duration(first)*time.Hour), hours,
		belief.Options{})
	if err != nil {
		return err
	}
	w.offset = w.f.Minute(w.sky.Start)
	w.channel = belief.Stated().NewChannel(w.sky.Climate)
	w.thunder = thunderOf(w.sky, wx, first, hours)
	return nil
}

// wetShare returns the share of the members' hours that are wet.
func wetShare(wx *forecast.Scenarios) float64 {
	wet, n := 0.0, 0.0
	for m := range wx.Members {
		for _, mm := range wx.Members[m].RainMM {
			if !math.IsNaN(mm) {
				n++
			}
			if mm > wx.WetMM {
				wet++
			}
		}
	}
	return wet / max(1, n)
}

// thunderOf gives the belief's members as much thunder in each hour as the
// forecast's have; the wettest have it.
func thunderOf(sky *belief.Belief, wx *forecast.Scenarios, first, hours int) [][]bool {
	rain := sky.Rain
	out := make([][]bool, len(rain))
	for i := range out {
		out[i] = make([]bool, hours)
	}
	for h := range hours {
		n := 0
		for m := range wx.Members {
			if t := wx.Members[m].Thunder; first+h < len(t) && t[first+h] {
				n++
			}
		}
		if n == 0 {
			continue
		}
		share := float64(n) / float64(len(wx.Members))
		wettest := make([]int, len(rain))
		for i := range wettest {
			wettest[i] = i
		}
		slices.SortStableFunc(wettest, func(a, b int) int { return cmp.Compare(rain[b][h], rain[a][h]) })
		given := 0.0
		for _, i := range wettest {
			if given+sky.Weight[i]/2 > share {
				break
			}
			given += sky.Weight[i]
			out[i][h] = true
		}
	}
	return out
}

// Order returns the names of the pads that can be placed today, in order.
func (w *Workday) Order() []string {
	out := make([]string, len(w.order))
	for i, p := range w.order {
		out[i] = w.f.Pads[p].Name
	}
	return out
}

// HourDecision is what to do now.
type HourDecision struct {
	hourly.Decision
	Pad string // the next one; empty: none
}

// Decide returns what to do now with the pads not begun: place the next one (or
// set up for it), wait for the next hour, or stop for the day.
func (w *Workday) Decide(ctx context.Context, at Moment) (x HourDecision, err error) {
	defer Caught(&err)
	d, next := w.moment(ctx, &at)
	if d == nil {
		return HourDecision{}, nil
	}
	if x.Decision, err = hourly.Decide(ctx, d); err != nil {
		return HourDecision{}, err
	}
	if x.Do != hourly.Stop {
		x.Pad = w.f.Pads[next].Name
	}
	return x, nil
}

// Cover returns, for each of at's pads that lies soft and open, what covering it
// now is worth; CoverNow.Pad counts at.Placed.
func (w *Workday) Cover(ctx context.Context, at Moment) (_ []hourly.CoverNow, err error) {
	defer Caught(&err)
	if w.day < 0 {
		return nil, nil
	}
	d, of := w.bare(ctx, &at), []int(nil)
	for i, p := range at.Placed {
		t := w.f.Minute(p.At)
		pad, ok := w.f.byName[p.Pad]
		if !ok {
			continue
		}
		s := w.f.Pads[pad].Kind.Slabs.At(w.f.Days[w.day].Track, t)
		if set := t + s.Initial - w.offset; set > d.Now && !math.IsInf(set, 1) {
			d.Soft = append(d.Soft, hourly.Soft{Set: set, Covered: p.Covered})
			of = append(of, i)
		}
	}
	d.Left = [][]float64{{0}}
	d.Costs.LostPad += repourDays // it is poured again, on one more morning
	out, err := hourly.Cover(ctx, d)
	for i := range out {
		out[i].Pad = of[out[i].Pad]
	}
	return out, err
}

// bare returns the day without pads.
func (w *Workday) bare(ctx context.Context, at *Moment) *hourly.Day {
	w.f.budget.ctx = ctx
	now := w.f.Minute(at.Now) - w.offset
	seen := belief.Seen{Hour: int(now / 60), Passed: math.Mod(now, 60) / 60, Raining: at.Raining, Before: at.Before}
	channel := w.channel
	if at.Proven != nil {
		channel = at.Proven.NewChannel(w.sky.Climate)
	}
	if at.Nowcast == (belief.Nowcast{}) {
		channel = belief.NoNowcast() // nor will there be one in an hour
	}
	weights := w.sky.Posterior(seen, at.Nowcast, &channel)
	d := w.empty(seen, &channel)
	d.Now, d.Placed = now, len(at.Placed)
	d.Members = make([]hourly.Member, len(weights))
	for i := range weights {
		d.Members[i] = hourly.Member{Weight: weights[i], RainMM: w.sky.Rain[i], Thunder: w.thunder[i]}
	}
	return d
}

// empty returns the day without pads and members: its costs and covers.
func (w *Workday) empty(seen belief.Seen, channel *belief.Channel) *hourly.Day {
	d := &hourly.Day{Seen: seen, Channel: channel, Harm: w.harm, RainRisk: max(w.f.Risk, 1e-9),
		Costs: hourly.Costs{LostPad: w.f.padDay, InspectPad: harm.InspectDays, WaitedHour: hourly.WaitedDays,
			CoverHour: coverHour, LeastGain: leastGain}}
	for _, c := range w.f.Spec.Stock.Covers {
		switch c.Kind {
		case pour.Plastic:
			d.Covers = hourly.Covers{Pads: d.Covers.Pads + c.Pads, MinutesPad: crewday.CoverMin}
		case pour.Blanket:
			d.Blankets = hourly.Covers{Pads: d.Blankets.Pads + c.Pads, MinutesPad: crewday.CoverMin}
		}
	}
	return d
}
