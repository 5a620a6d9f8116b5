package forecast

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Stated is the chances of rain that one forecast stated, reduced to what
// verifying it later needs: a byte an hour.
type Stated struct {
	Of      string    // whose chances of what: only chances of the same are counted together
	Wet     WetEvent  // what they are the chances of
	Members bool      // they are shares of an ensemble's members
	At      time.Time // what leads count from
	Start   time.Time // a whole hour of UTC, not before At
	Chances []byte    // in steps of ChanceStep, an hour each; Unstated: none
	Heavy   []byte    // shares of heavy hours among the wet ones, likewise; nil: none
	Amounts []byte    // a run's amounts in steps of AmountStep above 0.1 mm; Unstated: none; nil: none at all
}

// ChanceSteps is how many steps a stated chance is kept in: whole percents,
// which is all that feeds state, are kept exactly.
const ChanceSteps = 200

// Unstated marks an hour without a chance.
const Unstated byte = 255

// Leads are the ends of the bands of lead time that forecasts are verified
// in; the first band begins with the hour that follows the forecast.
var Leads = [NumLeads]time.Duration{
	6 * time.Hour,
	12 * time.Hour,
	24 * time.Hour,
	48 * time.Hour,
	96 * time.Hour,
	168 * time.Hour,
}

// NumLeads is the number of bands.
const NumLeads = 6

// bandOf returns the band of a lead of 0 or more, and whether there is one. A
// lead at a band's end belongs to that band, as in Recalibration.
func bandOf(lead time.Duration) (int, bool) {
	for i, upTo := range Leads {
		if lead >= 0 && lead <= upTo {
			return i, true
		}
	}
	return 0, false
}

// middleOf returns the lead in the middle of a band.
func middleOf(band int) time.Duration {
	if band == 0 {
		return Leads[0] / 2
	}
	return (Leads[band-1] + Leads[band]) / 2
}

// Stated returns the chances that the forecast states over the coming week,
// before any recalibration, exactly as Draw reads them; false where it states
// none. An ensemble's are the smoothed shares of its members after blocks were
// shared out. Chances of a longer period than the wet event's are left out, as
// are, where the event counts over several hours, blocks cut short.
func (f *Forecast) Stated() (Stated, bool) {
	if len(f.Hours) == 0 || len(f.Sources) == 0 {
		return Stated{}, false
	}
	wet := f.wetOf()
	if wet.Period > 24*time.Hour || wet.Period%time.Hour != 0 {
		return Stated{}, false // Draw refuses it
	}
	s := Stated{Wet: wet, At: f.AgedFrom().UTC()}
	s.Start = s.At.Truncate(time.Hour)
	if s.Start.Before(s.At) {
		s.Start = s.Start.Add(time.Hour)
	}
	s.Chances = slices.Repeat([]byte{Unstated}, int(Leads[NumLeads-1]/time.Hour)+1)
	feed := ""
	if len(f.Members) > 0 {
		feed, s.Members, s.Wet.Period = f.Sources[0].Feed, true, time.Hour
		s.ofMembers(f)
	} else {
		feed = s.ofRun(f)
	}
	last := -1
	for i, c := range s.Chances {
		if c != Unstated {
			last = i
		}
	}
	kind := "stated chance"
	if s.Members {
		kind = "share of members"
	}
	s.Of = fmt.Sprintf("%s: %s of more than %g mm in %d h", feed, kind, s.Wet.OverMM, int(s.Wet.Period/time.Hour))
	s.Chances = slices.Clip(s.Chances[:last+1])
	if !s.Members {
		s.putHeavy(f)
	}
	return s, last >= 0
}

func (s *Stated) put(start time.Time, chance float64) {
	if i := int(start.Sub(s.Start) / time.Hour); !start.Before(s.Start) && i < len(s.Chances) && chance >= 0 &&
		chance <= 1 {
		s.Chances[i] = byte(math.Round(chance * ChanceSteps))
	}
}

func (s *Stated) ofMembers(f *Forecast) {
	rain := rainOf(f)
	for i := range rain {
		if len(rain[i]) != len(f.Hours) {
			return // Draw refuses it
		}
	}
	shareOut(f, rain)
	for h := range f.Hours {
		wet, known := 0, 0
		for i := range rain {
			switch x := rain[i][h]; {
			case math.IsNaN(x):
				continue
			case x > s.Wet.OverMM:
				wet++
			}
			known++
		}
		if known > 0 {
			s.put(f.Hours[h].Start, float64(wet+1)/float64(known+2))
		}
	}
}

// ofRun puts the chances of the first feed that states one, and returns it.
func (s *Stated) ofRun(f *Forecast) (feed string) {
	block := int(s.Wet.Period / time.Hour)
	for i := 0; i < len(f.Hours); {
		h := &f.Hours[i]
		c := h.Get(RainChance)
		if !c.Known || h.ChanceHours > 0 || int(h.From[RainChance]) >= len(f.Sources) {
			i++
			continue
		}
		n := 1
		for n < block && i+n < len(f.Hours) && f.Hours[i+n].Get(RainChance) == c {
			n++
		}
		from := f.Sources[h.From[RainChance]].Feed
		if feed == "" && !h.Start.Before(s.Start) {
			feed = from
		}
		if from == feed && n == block {
			s.put(h.Start, c.V)
		}
		i += n
	}
	return feed
}

// Rain is what fell in consecutive hours from Start on, as far as it is known.
type Rain struct {
	Start time.Time // a whole hour of UTC
	MM    []float64 // of the hour; NaN: unknown
}

// rainHours is how many hours are held: longer than a feed's past days and
// the longest wet event after that.
const rainHours = 96

// Note takes the rain of the hours that were over at now from a forecast that
// reaches back: the feed's own later account of them. It is an analysis or a
// short forecast, not a gauge. What was noted before is corrected by it. What
// was stated before an hour was over is a forecast of it, which would prove
// itself right, and is left out.
func (r *Rain) Note(f *Forecast, now time.Time) {
	for i := range f.Hours {
		h := &f.Hours[i]
		if end := h.Start.Add(time.Hour); end.After(now) || end.Before(now.Add(-rainHours*time.Hour)) {
			continue
		}
		src := &f.Sources[h.From[RainMM]]
		if mm := h.Get(RainMM); mm.Known && !src.Past && !src.told().Before(h.Start.Add(time.Hour)) {
			r.set(h.Start, mm.V)
		}
	}
	if drop := int(now.Add(-rainHours*time.Hour).Sub(r.Start) / time.Hour); drop > 0 && len(r.MM) > 0 {
		drop = min(drop, len(r.MM))
		r.Start, r.MM = r.Start.Add(time.Duration(drop)*time.Hour), slices.Clone(r.MM[drop:])
	}
}

// Logged takes rain that someone saw fall in an hour as the least that fell.
func (r *Rain) Logged(start time.Time, mm float64) {
	if was := r.at(start); !(was >= mm) && mm >= 0 {
		r.set(start, mm)
	}
}

func (r *Rain) set(start time.Time, mm float64) {
	if len(r.MM) == 0 {
		r.Start = start.UTC()
	}
	if before := int(r.Start.Sub(start) / time.Hour); before > 0 {
		if before > rainHours {
			return
		}
		r.MM, r.Start = slices.Concat(slices.Repeat([]float64{math.NaN()}, before), r.MM), start.UTC()
	}
	i := int(start.Sub(r.Start) / time.Hour)
	if i > 2*rainHours { // nothing was noted for days: begin anew
		r.Start, r.MM, i = start.UTC(), nil, 0
	}
	for len(r.MM) <= i {
		r.MM = append(r.MM, math.NaN())
	}
	r.MM[i] = mm
}

func (r *Rain) at(start time.Time) float64 {
	if i := int(start.Sub(r.Start) / time.Hour); !start.Before(r.Start) && i < len(r.MM) {
		return r.MM[i]
	}
	return math.NaN()
}

// Wet reports whether the event came to pass from start on, and whether that is
// known: an hour that is unknown leaves it open, unless the others suffice.
func (r *Rain) Wet(e WetEvent, start time.Time) (wet, known bool) {
	sum, known := 0.0, true
	for t := start; t.Before(start.Add(e.Period)); t = t.Add(time.Hour) {
		if mm := r.at(t); math.IsNaN(mm) {
			known = false
		} else {
			sum += mm
		}
	}
	wet = sum > e.OverMM
	return wet, known || wet
}
