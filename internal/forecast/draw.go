package forecast

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/unit"
)

// DrawOptions tunes Draw. Its zero value is what the service uses.
type DrawOptions struct {
	// Members is how many weathers to draw from one run, 2 to 10,000; 0: 200.
	// An ensemble keeps its own members.
	Members int
	// Tracks is how many different dry weathers the members of one run share,
	// 1 to Members; 0: 12.
	Tracks int
	// Lag1 is the correlation of a wet hour with the next one, given the
	// forecast, 0 to 0.6; unknown: by latitude, season and lead (see
	// Clustering).
	Lag1 unit.Opt
	// Recalibration is applied to the chances; nil: one run is believed as it
	// is, an ensemble is corrected by PriorEnsemble.
	Recalibration *Recalibration
}

// Defaults of DrawOptions.
const (
	DefaultMembers = 200
	DefaultTracks  = 12
)

// DefaultWet is the wet event of a forecast that gives no chances of its own:
// more than 0.1 mm in an hour, as the Open-Meteo documentation defines its
// precipitation probability.
var DefaultWet = WetEvent{OverMM: 0.1, Period: time.Hour}

// Draw makes equally likely weathers of a forecast.
//
// From one run with hourly chances p it makes M members. In every hour exactly
// round(M p) of them see the feed's wet event; their amounts follow
// the run's amounts of the hours around it with their error (see AmountFit), and
// those of the records (see Amounts) where it gives none, so that heavy rain has
// its own, smaller chance. Which members are wet follows a latent
// series seeded by cell and target date alone: the members of the highest
// ranks are wet, and a higher rank is never drier. So the same forecast gives
// the same weathers, a small change of it a small change of them, and a higher
// chance or amount never makes an hour drier in any member.
//
// A chance that counts over several hours (US NWS: 0.254 mm in 12 h; MET Norway
// beyond some days: steps of 6 h) is kept for the block: as few members are wet in each of its hours as make exactly
// round(M p) members wet somewhere in the block. That lies within the Frechet
// bounds by construction. A run of equal chances is cut into blocks from its
// start.
//
// An hour with an amount but no chance gets the chance of ChanceFromAmount; an
// hour with a chance but no amount is drawn from the records alone; an hour
// with neither is unknown: NaN in every member, which counts against it.
//
// From an ensemble it makes one weather of each member; see drawEnsemble.
//
// Errors are fault.Invalid: no hours, hours that are not consecutive whole
// hours of UTC, a chance outside 0 to 1, a negative amount, a wet event or an
// option out of range.
func Draw(f *Forecast, opt DrawOptions) (*Scenarios, error) {
	if err := checkDraw(f, &opt); err != nil {
		return nil, err
	}
	var s *Scenarios
	var err error
	if len(f.Members) > 0 {
		s, err = drawEnsemble(f, opt)
	} else {
		s = drawRun(f, opt)
	}
	if err == nil {
		s.AirC = f.ownAir(s)
	}
	return s, err
}

// ownAir returns the feed's own air temperature by the hours of scenarios.
func (f *Forecast) ownAir(s *Scenarios) []float64 {
	out := make([]float64, s.Hours)
	for i := range out {
		out[i] = math.NaN()
	}
	for i := range f.Hours {
		h, v := &f.Hours[i], f.Hours[i].Values[AirC]
		if at, ok := s.Index(h.Start); ok && v.Known {
			out[at] = v.V
		}
	}
	return out
}

func checkDraw(f *Forecast, opt *DrawOptions) error {
	var bad fault.List
	if opt.Members == 0 {
		opt.Members = DefaultMembers
	}
	if opt.Members < 2 || opt.Members > 10000 {
		bad.Add("Members", fmt.Sprint(opt.Members), "must be between 2 and 10000")
	}
	if opt.Tracks == 0 {
		opt.Tracks = min(DefaultTracks, opt.Members)
	}
	if opt.Tracks < 1 || opt.Tracks > opt.Members {
		bad.Add("Tracks", fmt.Sprint(opt.Tracks), "must be between 1 and the number of members")
	}
	if opt.Lag1.Known && !(opt.Lag1.V >= 0 && opt.Lag1.V <= 0.6) {
		bad.Add("Lag1", fmt.Sprint(opt.Lag1.V), "must be between 0 and 0.6")
	}
	if f.checkHours(&bad) {
		f.Wet.check(&bad)
	}
	return bad.Err("this forecast can't be turned into scenarios")
}

// checkHours adds what is wrong with the hours, and reports whether any has a
// chance of rain.
func (f *Forecast) checkHours(bad *fault.List) (chances bool) {
	if len(f.Hours) == 0 {
		bad.Add("Hours", "none", "must be one or more")
	}
	for i := range f.Hours {
		h := &f.Hours[i]
		if !h.Start.Equal(h.Start.Truncate(time.Hour)) {
			bad.Add(fmt.Sprintf("Hours[%d].Start", i), h.Start.String(), "must be a whole hour of UTC")
		}
		if i > 0 && !h.Start.Equal(f.Hours[i-1].Start.Add(time.Hour)) {
			bad.Add(fmt.Sprintf("Hours[%d].Start", i), h.Start.String(), "must follow the hour before")
		}
		for _, v := range []Variable{RainChance, ThunderChance} {
			if c := h.Values[v]; c.Known && !(c.V >= 0 && c.V <= 1) {
				bad.Add(fmt.Sprintf("Hours[%d].%s", i, Names[v]), fmt.Sprint(c.V), "must be between 0 and 1")
			}
		}
		if r := h.Values[RainMM]; r.Known && !(r.V >= 0) {
			bad.Add(fmt.Sprintf("Hours[%d].rain_mm", i), fmt.Sprint(r.V), "must not be negative")
		}
		chances = chances || h.Values[RainChance].Known
	}
	return chances
}

// check adds what is wrong with an event that chances are of.
func (w WetEvent) check(bad *fault.List) {
	if !(w.OverMM >= 0 && w.OverMM <= 10) {
		bad.Add("Wet.OverMM", fmt.Sprint(w.OverMM), "must be between 0 and 10 mm")
	}
	if p := w.Period; p < time.Hour || p%time.Hour != 0 || p > 24*time.Hour {
		bad.Add("Wet.Period", p.String(), "must be whole hours, 1 to 24")
	}
}

// wetOf returns the wet event that the scenarios of f keep: its amount counts
// within one hour.
func (f *Forecast) wetOf() WetEvent {
	if f.Wet.Period < time.Hour {
		return DefaultWet
	}
	return f.Wet
}

// lead returns how long after the instant that the forecast's age counts from an
// hour begins, not below 0; a forecast of unknown age counts from its first hour.
func (f *Forecast) lead(start time.Time) time.Duration {
	from := f.AgedFrom()
	if from.IsZero() {
		from = f.Hours[0].Start
	}
	return max(0, start.Sub(from))
}

// wish is what one hour asks of the draw.
type wish struct {
	known   bool
	chance  float64 // of the wet event, recalibrated
	amounts Amounts // if it is wet, as the records have it
	run     runAmount
	thunder float64
	block   int // hours that the chance counts over, from this hour on; 0: within an earlier block
}

func drawRun(f *Forecast, opt DrawOptions) *Scenarios {
	n, m := len(f.Hours), opt.Members
	wet := f.wetOf()
	rec := recordsAt(f.Cell.Latitude)
	wishes := wishesOf(f, wet, rec, opt.Recalibration)

	order := latentOrder(f, m, rec.phi(f, opt), func(h int) bool {
		return wishes[h].known && wishes[h].chance > 0 || wishes[h].thunder > 0
	})
	counts := wetCounts(wishes, order, m)

	s := newScenarios(f.Hours[0].Start, n, m, wet.OverMM, opt.Tracks)
	tracks := tracksOf(f, opt.Tracks)
	for i := range s.Members {
		t := i / 2 % opt.Tracks // both halves of the members, however cut, see every track
		dry := tracks[t]
		dry.RainMM, dry.Thunder, dry.Track = s.Members[i].RainMM, s.Members[i].Thunder, t
		s.Members[i] = dry
	}
	var mm, spare []float64
	for h := range wishes {
		w := &wishes[h]
		if !w.known {
			for i := range s.Members {
				s.Members[i].RainMM[h] = math.NaN()
			}
		}
		mm, spare = w.rain(counts[h], m, wet.OverMM, mm, spare)
		for rank, x := range mm {
			s.Members[order[h][rank]].RainMM[h] = x
		}
		for rank := range roundChance(w.thunder, m) {
			s.Members[order[h][rank]].Thunder[h] = true
		}
	}
	return s
}

// wishesOf reads the hours of one run.
func wishesOf(f *Forecast, wet WetEvent, rec records, cal *Recalibration) []wish {
	ws := make([]wish, len(f.Hours))
	for i := range f.Hours {
		h, w := &f.Hours[i], &ws[i]
		lead := f.lead(h.Start)
		rain, chance := h.Values[RainMM], h.Values[RainChance]
		w.thunder = h.Values[ThunderChance].Or(0) // no word of thunder is no thunder in any feed read here
		w.block = 1
		switch {
		case chance.Known:
			w.known, w.chance = true, chance.V
			if cal != nil {
				w.chance = cal.Apply(chance.V, lead)
			}
		case rain.Known:
			w.known, w.chance = true, chanceFromAmount(f, i, wet.OverMM, lead, rec)
		}
		w.run = cal.amounts().of(f.amountAbout(i), lead)
		like := w.chance
		if w.run.told {
			like = min(like, unsaidShare)
		}
		w.amounts = f.signsOf(i, like).Amounts(cal.heavyHere())
	}
	cutBlocks(f, ws, int(wet.Period/time.Hour))
	return ws
}

// cutBlocks marks the blocks of hours that one chance counts over: those of the
// wet event, or longer ones where the feed's steps are.
func cutBlocks(f *Forecast, ws []wish, period int) {
	for i := 0; i < len(ws); {
		h := &f.Hours[i]
		c, hours := h.Values[RainChance], max(period, int(h.ChanceHours))
		if !c.Known || hours <= 1 {
			i++
			continue
		}
		j := i + 1
		for j < len(ws) && j < i+hours && f.Hours[j].Values[RainChance] == c &&
			f.Hours[j].ChanceHours == h.ChanceHours {
			ws[j].block = 0
			j++
		}
		ws[i].block = j - i
		for k := i; k < j; k++ { // one lead, so one chance, for the block
			ws[k].chance = ws[i].chance
		}
		i = j
	}
}

// wetCounts returns how many members are wet in each hour.
func wetCounts(ws []wish, order [][]int32, m int) []int {
	counts := make([]int, len(ws))
	best := make([]int, m) // rank at which each member first turns wet, over a block
	for h := range ws {
		switch n := ws[h].block; {
		case !ws[h].known || ws[h].chance == 0 || n == 0:
		case n == 1:
			counts[h] = roundChance(ws[h].chance, m)
		default:
			blockCounts(counts[h:h+n], order[h:h+n], roundChance(ws[h].chance, m), best)
		}
	}
	return counts
}

// blockCounts fills the counts of one block so that exactly want members are
// wet somewhere in it: the ranks are let in one by one, hour by hour.
func blockCounts(counts []int, order [][]int32, want int, best []int) {
	clear(best)
	seen := 0
	for rank := range best {
		for h := range counts {
			if seen == want {
				return
			}
			if i := order[h][rank]; best[i] == 0 {
				best[i] = 1
				seen++
			}
			counts[h]++
		}
	}
}

func roundChance(p float64, m int) int { return int(math.Round(p * float64(m))) }

// newScenarios returns dry, thunderless members.
func newScenarios(start time.Time, hours, members int, wetMM float64, tracks int) *Scenarios {
	s := &Scenarios{Start: start, Hours: hours, WetMM: wetMM, Tracks: tracks, Members: make([]Weather, members)}
	rain := make([]float64, hours*members)
	thunder := make([]bool, hours*members)
	for i := range s.Members {
		s.Members[i].RainMM = slices.Clip(rain[i*hours : (i+1)*hours])
		s.Members[i].Thunder = slices.Clip(thunder[i*hours : (i+1)*hours])
	}
	return s
}
