package forecast

import (
	"slices"
	"time"
)

// PastHours is how far back before now a forecast is wanted to reach: the
// night's rain on the base, frost in it, bags and water that took the air's
// temperature, and pads that were placed earlier in the day.
const PastHours = 72 * time.Hour

// Remember puts the hours that an earlier forecast of the cell held before f
// begins in front of its own, as far back as since. Feeds that begin with the
// hour at hand would else forget the night at every fetch. What was held stays
// what it was, a forecast of those hours, and its sources say so, so that nobody
// takes it for an account of what came (Rain.Note). A
// chance of another event is left out. It changes nothing where the earlier
// one is of another cell or has nothing to add.
func (f *Forecast) Remember(earlier *Forecast, since time.Time) {
	if len(f.Hours) == 0 || earlier.Cell != f.Cell {
		return
	}
	first := f.Hours[0].Start
	var held []Hour
	for _, h := range earlier.Hours {
		if h.Start.Before(first) && !h.Start.Before(since) {
			held = append(held, h)
		}
	}
	if len(held) == 0 {
		return
	}
	for at := held[len(held)-1].Start.Add(time.Hour); at.Before(first); at = at.Add(time.Hour) {
		held = append(held, Hour{Start: at}) // no forecast covers it
	}
	if len(held)+len(f.Hours) > MaxHours {
		return
	}
	f.relabel(held, earlier)
	f.Hours = slices.Concat(held, f.Hours)
	for i := range f.Members {
		for v, s := range f.Members[i].Values {
			if s != nil {
				f.Members[i].Values[v] = slices.Concat(newSeries(len(held)), s)
			}
		}
	}
}

// relabel makes hours of an earlier forecast this one's: their values come from
// its past sources, and a chance of another event is left out.
func (f *Forecast) relabel(held []Hour, earlier *Forecast) {
	from := map[uint8]uint8{}
	for i := range held {
		h := &held[i]
		if earlier.Wet != f.Wet {
			h.Values[RainChance].Known, h.ChanceHours = false, 0
		}
		for v := range NumVariables {
			if !h.Values[v].Known {
				h.From[v] = 0
				continue
			}
			to, ok := from[h.From[v]]
			if !ok {
				to = f.pastSource(earlier.Sources[h.From[v]])
				from[h.From[v]] = to
			}
			h.From[v] = to
		}
	}
}

// pastSource returns the index of the source that stands for what a feed stated
// earlier: one for each feed, dated by the oldest of it.
func (f *Forecast) pastSource(s Source) uint8 {
	told := s.told()
	for i := range f.Sources {
		if p := &f.Sources[i]; p.Past && p.Feed == s.Feed {
			if told.Before(p.FetchedAt) {
				p.FetchedAt = told
			}
			return uint8(i)
		}
	}
	f.Sources = append(f.Sources, Source{Feed: s.Feed, FetchedAt: told, Attribution: s.Attribution, Past: true})
	return uint8(len(f.Sources) - 1)
}
