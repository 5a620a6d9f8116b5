package backtest

import (
	"math"
	"time"

	"dryslot/internal/measure/check"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// farMinute is past the end of any record.
const farMinute = 1e9

// situation is what the checker holds a day against. A plan knows the strength
// of pads in their forms only as its forecast has it: they count as strippable
// from the earliest that any of its weathers allows; a day as it went, from
// when they really were.
func (s *Site) situation(d int, st *state, own Powers, plan bool) check.Situation {
	at := s.Station.Dawn(d)
	now := s.minute(at)
	x := check.Situation{Spec: s.Spec, Records: s.records(st, at), Now: at, Zone: s.Zone, Bags: map[string]int{},
		FreeAt: map[string]time.Time{}, CuredAt: map[string]time.Time{},
		Light: func(date unit.Date) (first, last time.Time, ok bool) {
			day := &s.days[date.DaysSince(s.days[0].date)]
			return s.clock(day.first), s.clock(day.last), true
		}}
	for i, p := range s.Spec.Pads {
		x.Bags[p.Name] = takeoff.PadBags(s.Spec, p)
		if r := x.Records[i]; r.State == pour.Finished {
			free := now
			if firstBay(i) {
				free = st.strip[i]
			}
			if plan {
				free = st.when[i] + s.stripInAny(d, st.when[i], own)
			}
			x.FreeAt[p.Name] = s.clock(min(free, now+longestJob*24*60))
		}
	}
	return x
}

// inAny asks the slabs of every weather of dawn's forecast.
func (s *Site) inAny(d int, placed float64, own Powers, see func(x slab)) {
	at := s.clock(placed)
	wx, ok := s.region.Issue(s.Station, s.Station.Dawn(d), plannerExtent)
	if !ok {
		return
	}
	made, err := slabs.New(s.Spec, wx, slabs.Options{Zone: s.Zone})
	if err != nil {
		return // the planner refused it already
	}
	for at.Before(wx.Start) {
		at = at.Add(24 * time.Hour) // placed before the weather begins: as the planner does
	}
	for track := range wx.Tracks {
		for _, t := range []time.Time{at, at.Add(time.Hour)} {
			q := slabs.Query{Track: track, Kind: slabs.Kind{Thickness: unit.Metres(s.Spec.Pads[0].ThicknessM)},
				Placed: t}
			for _, c := range append([]pour.Cover{{}}, s.specWith(own).Stock.Covers...) {
				if q.Cover, q.CoverR = c.Kind, 0; c.ResistanceM2KW != nil {
					q.CoverR = *c.ResistanceM2KW
				}
				b := made.Behave(q)
				see(slab{from: minutes(b.FinishFrom), until: minutes(b.FinishUntil), strip: minutes(b.StripFrom)})
			}
		}
	}
}

// windowInAny returns the widest finishing window that any weather allows.
func (s *Site) windowInAny(d int, placed float64, own Powers) (from, until float64) {
	from, until = math.Inf(1), math.Inf(-1)
	s.inAny(d, placed, own, func(x slab) { from, until = min(from, x.from), max(until, min(x.until, 7*24*60)) })
	return placed + from, placed + until
}

// stripInAny returns the earliest stripping that any weather allows.
func (s *Site) stripInAny(d int, placed float64, own Powers) float64 {
	least := math.Inf(1)
	s.inAny(d, placed, own, func(x slab) { least = min(least, x.strip) })
	return least
}
