package forecast

import (
	"time"

	"dryslot/internal/fault"
)

// Merge makes one picture of the hours from several feeds' forecasts of the
// same cell, in order of preference. Each value of each hour is the first
// feed's that gives it, a computed one only where no feed gives one, and keeps
// its source. The hours span those of all feeds. Three things stay together:
//
//   - A chance of rain is the chance of one event, so that only feeds with the
//     same wet event as the first that gives any chance supply chances.
//   - The water of snow is within the rain of its own feed, and comes with it.
//   - Members are one feed's whole ensemble, the first there is.
//
// NextFetch is the latest of all: no provider is asked too early. It refuses
// none at all, and forecasts of different cells.
func Merge(fs ...Forecast) (Forecast, error) {
	var bad fault.List
	if len(fs) == 0 {
		bad.Add("forecasts", "none", "must be one or more")
	}
	for i := range fs {
		if fs[i].Cell != fs[0].Cell {
			bad.Add("cell", fs[i].Cell.Key(), "must be "+fs[0].Cell.Key()+", as of the first")
		}
		if len(fs[i].Hours) == 0 {
			bad.Add("hours", "none", "must be one or more")
		}
	}
	if err := bad.Err("forecast: these can't be merged"); err != nil {
		return Forecast{}, err
	}
	if len(fs) == 1 {
		return fs[0], nil
	}
	out := Forecast{Cell: fs[0].Cell, Hours: spanOf(fs), Validator: fs[0].Validator}
	from := out.mergeSources(fs)
	out.Wet = wetOf(fs)
	for _, computed := range []bool{false, true} {
		for i := range fs {
			out.take(&fs[i], from[i], computed)
		}
	}
	for i := range fs {
		out.takeSnow(&fs[i], from[i])
	}
	for i := range fs {
		if fs[i].NextFetch.After(out.NextFetch) {
			out.NextFetch = fs[i].NextFetch
		}
		if len(out.Members) == 0 && len(fs[i].Members) > 0 {
			if err := out.AddMembers(fs[i].Hours[0].Start, fs[i].Members); err != nil {
				return Forecast{}, err
			}
		}
	}
	return out, nil
}

// spanOf returns the empty hours from the first of any forecast to the last.
func spanOf(fs []Forecast) []Hour {
	first, last := fs[0].Hours[0].Start, fs[0].Hours[len(fs[0].Hours)-1].Start
	for i := range fs {
		h := fs[i].Hours
		if h[0].Start.Before(first) {
			first = h[0].Start
		}
		if h[len(h)-1].Start.After(last) {
			last = h[len(h)-1].Start
		}
	}
	n := min(int(last.Sub(first)/time.Hour)+1, MaxHours)
	hours := make([]Hour, n)
	for i := range hours {
		hours[i].Start = first.Add(time.Duration(i) * time.Hour)
	}
	return hours
}

// mergeSources lists the feeds in order, the computed behind them, and returns
// for each forecast where its sources went.
func (f *Forecast) mergeSources(fs []Forecast) [][]uint8 {
	from := make([][]uint8, len(fs))
	for i := range fs {
		from[i] = make([]uint8, len(fs[i].Sources))
		for j, s := range fs[i].Sources {
			if s.Feed != Computed {
				from[i][j] = uint8(len(f.Sources))
				f.Sources = append(f.Sources, s)
			}
		}
	}
	for i := range fs {
		for j, s := range fs[i].Sources {
			if s.Feed == Computed {
				from[i][j] = uint8(f.computedSource())
			}
		}
	}
	return from
}

// wetOf returns the wet event of the first forecast that gives any chance.
func wetOf(fs []Forecast) WetEvent {
	for i := range fs {
		for h := range fs[i].Hours {
			if fs[i].Hours[h].Get(RainChance).Known {
				return fs[i].Wet
			}
		}
	}
	return fs[0].Wet
}

// take takes the values of g that f lacks: those that its feed gave, or those
// that were computed.
func (f *Forecast) take(g *Forecast, from []uint8, computed bool) {
	shift := int(g.Hours[0].Start.Sub(f.Hours[0].Start) / time.Hour)
	for i := range g.Hours {
		if shift+i >= len(f.Hours) {
			return
		}
		src, dst := &g.Hours[i], &f.Hours[shift+i]
		for v := range NumVariables {
			if !src.Values[v].Known || dst.Values[v].Known || (g.Sources[src.From[v]].Feed == Computed) != computed {
				continue
			}
			if v == SnowMM || (v == RainChance && g.Wet != f.Wet) {
				continue
			}
			dst.Values[v], dst.From[v] = src.Values[v], from[src.From[v]]
			if v == RainChance {
				dst.ChanceHours = src.ChanceHours
			}
		}
	}
}

// takeSnow takes the water of snow that f lacks, once it is known whose rain
// each hour has.
func (f *Forecast) takeSnow(g *Forecast, from []uint8) {
	shift := int(g.Hours[0].Start.Sub(f.Hours[0].Start) / time.Hour)
	for i := range g.Hours {
		if shift+i >= len(f.Hours) {
			return
		}
		src, dst := &g.Hours[i], &f.Hours[shift+i]
		if !src.Values[SnowMM].Known || dst.Values[SnowMM].Known {
			continue
		}
		if rain := dst.Values[RainMM]; rain.Known && dst.From[RainMM] != from[src.From[SnowMM]] {
			continue
		}
		dst.Values[SnowMM], dst.From[SnowMM] = src.Values[SnowMM], from[src.From[SnowMM]]
	}
}
