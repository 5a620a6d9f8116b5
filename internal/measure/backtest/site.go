package backtest

import (
	"fmt"
	"math"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/daylight"
	"dryslot/internal/forecast"
	"dryslot/internal/measure/emulate"
	"dryslot/internal/planner/harm"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/takeoff"
	"dryslot/internal/unit"
)

// Site is a station where the job is run: its weather as it was, the slabs
// under it, and its light. Times are minutes from the start of the record.
type Site struct {
	Station *emulate.Station
	Zone    *time.Location
	Spec    pour.Spec

	region   *emulate.Region
	learned  *Lessons
	blankets bool            // over every pad once it is finished
	soft     [2]harm.SoftPad // what rain does to one; the harsh reading of covers
	truth    *forecast.Scenarios
	slabs    slabs.Slabs
	known    map[int]slab // by hour of the record
	days     []workday
	place    float64 // person-minutes of placing and striking off one pad
	finish   float64
	nowcasts [3]*emulate.Nowcast // by kind
	wetDays  map[int]float64     // chances as rules of thumb read them
	wetNext  map[hourKey]float64
}

// blanketR is the resistance of the blankets owned, m2 K/W.
const blanketR = concrete.BlanketM2KW

// specWith returns the job with the covers that are owned.
func (s *Site) specWith(own Powers) pour.Spec {
	spec := s.Spec
	spec.Stock.Covers = nil
	if own.Covers > 0 {
		spec.Stock.Covers = append(spec.Stock.Covers, pour.Cover{Kind: pour.Plastic, Pads: own.Covers})
	}
	if own.Blankets {
		r := blanketR
		spec.Stock.Covers = append(spec.Stock.Covers, pour.Cover{Kind: pour.Blanket, Pads: padCount,
			ResistanceM2KW: &r})
	}
	return spec
}

// workday is one date at the site.
type workday struct {
	date        unit.Date
	light       daylight.Day
	usable      bool    // the weather of that day and the next is known whole
	open, shut  float64 // the crew's hours
	first, last float64 // civil light
}

// slab is how a slab placed at an hour fares; durations in minutes.
type slab struct {
	initial, final, from, until, strip float64
	freezes, bad                       bool
}

// NewSite makes a site of a station of a region; blankets lie over every pad
// once it is finished.
func NewSite(st *emulate.Station, r *emulate.Region, l *Lessons, blankets bool) (*Site, error) {
	s := &Site{Station: st, Zone: st.Zone, region: r, learned: l, blankets: blankets, truth: st.Truth(),
		known: map[int]slab{}, wetDays: map[int]float64{}, wetNext: map[hourKey]float64{},
		Spec: jobSpec("Reference job at "+st.Station, st.Latitude, st.Longitude, st.ElevM, st.Zone.String())}
	for kind := range s.nowcasts {
		s.nowcasts[kind] = st.Nowcast(emulate.NowcastKind(kind))
	}
	for i := range s.soft {
		s.soft[i] = harm.Soft(harm.Rain(s.Spec.Limits.Harm), i == 1)
	}
	var err error
	if s.slabs, err = slabs.New(s.Spec, s.truth, slabs.Options{Zone: s.Zone}); err != nil {
		return nil, fmt.Errorf("backtest: %s: %w", st.Station, err)
	}
	p, c := s.Spec.Pads[0], s.Spec.Crew
	s.place = takeoff.PlacingMin(s.Spec, p)
	s.finish = c.FinishMinPerM2 * p.AreaM2()
	for d := range st.Days() {
		day, err := s.workday(d)
		if err != nil {
			return nil, err
		}
		s.days = append(s.days, day)
	}
	return s, nil
}

func (s *Site) minute(t time.Time) float64 { return t.Sub(s.truth.Start).Minutes() }

func (s *Site) clock(minute float64) time.Time {
	return s.truth.Start.Add(time.Duration(math.Round(minute*60)) * time.Second).In(s.Zone)
}

func (s *Site) workday(d int) (workday, error) {
	date := s.Station.Date(d)
	light, err := lightOf(date, s.Spec.Latitude, s.Spec.Longitude, s.Zone)
	if err != nil {
		return workday{}, fmt.Errorf("backtest: %s: %w", s.Station.Station, err)
	}
	w := workday{
		date:   date,
		light:  light,
		usable: s.Station.Whole(d) && s.Station.Whole(d+1) && (d == 0 || s.Station.Whole(d-1)),
		open:   s.minute(date.At(s.Spec.Crew.EarliestStart, s.Zone)),
		shut:   s.minute(date.At(s.Spec.Crew.LatestFinish, s.Zone)),
	}
	from, until, ok := light.Light(s.Zone)
	w.usable = w.usable && ok
	w.first, w.last = s.minute(from), s.minute(until)
	return w, nil
}

// lightOf finds civil light and sunrise by halving the hours between midnight,
// noon and midnight, which is fast; at high latitudes, where there may be
// none, package daylight's own search is asked.
func lightOf(date unit.Date, lat, lon float64, zone *time.Location) (daylight.Day, error) {
	if math.Abs(lat) > 58 {
		return daylight.Of(date, lat, lon, zone)
	}
	noon := date.At(12*60, time.UTC).Add(-time.Duration(lon / 15 * float64(time.Hour)))
	cross := func(from, to time.Time, height float64) time.Time {
		rising := daylight.SunHeight(to, lat, lon) > daylight.SunHeight(from, lat, lon)
		for to.Sub(from) > time.Second {
			mid := from.Add(to.Sub(from) / 2)
			if daylight.SunHeight(mid, lat, lon) > height == rising {
				to = mid
			} else {
				from = mid
			}
		}
		return to.In(zone)
	}
	const civil, horizon = -6, -0.833 // degrees, as package daylight has them
	before, after := noon.Add(-12*time.Hour), noon.Add(12*time.Hour)
	return daylight.Day{
		Date:       date,
		Case:       daylight.Ordinary,
		FirstLight: cross(before, noon, civil),
		Sunrise:    cross(before, noon, horizon),
		Sunset:     cross(noon, after, horizon),
		LastLight:  cross(noon, after, civil),
	}, nil
}

// at returns the slab placed at a minute of the record, between whole hours in
// a straight line.
func (s *Site) at(minute float64) slab {
	h := int(math.Floor(minute / 60))
	a, w := s.node(h), minute/60-float64(h)
	if w < 1e-9 {
		return a
	}
	b := s.node(h + 1)
	mix := func(x, y float64) float64 {
		if math.IsInf(x, 1) || math.IsInf(y, 1) {
			return math.Inf(1)
		}
		return x + (y-x)*w
	}
	return slab{
		mix(a.initial, b.initial),
		mix(a.final, b.final),
		mix(a.from, b.from),
		mix(a.until, b.until),
		mix(a.strip, b.strip),
		a.freezes || b.freezes,
		a.bad || b.bad,
	}
}

func (s *Site) node(hour int) slab {
	if v, ok := s.known[hour]; ok {
		return v
	}
	q := slabs.Query{
		Kind:   slabs.Kind{Thickness: unit.Metres(s.Spec.Pads[0].ThicknessM)},
		Placed: s.truth.Start.Add(time.Duration(hour) * time.Hour),
	}
	if s.blankets {
		q.Cover, q.CoverR = pour.Blanket, blanketR
	}
	b := s.slabs.Behave(q)
	v := slab{
		minutes(b.InitialSet),
		minutes(b.FinalSet),
		minutes(b.FinishFrom),
		minutes(b.FinishUntil),
		minutes(b.StripFrom),
		b.Freezes,
		false,
	}
	v.bad = math.IsInf(v.initial, 1) || math.IsInf(v.until, 1) || math.IsInf(v.from, 1)
	s.known[hour] = v
	return v
}

func minutes(d time.Duration) float64 {
	if d == concrete.Never {
		return math.Inf(1)
	}
	return d.Minutes()
}

// rain returns the rain of the hour that holds a minute; NaN where unknown.
func (s *Site) rain(minute float64) float64 {
	h := int(math.Floor(minute / 60))
	if h < 0 || h >= s.truth.Hours {
		return math.NaN()
	}
	return s.truth.Members[0].RainMM[h]
}

// mostRain returns the heaviest hour that [from, to) touches.
func (s *Site) mostRain(from, to float64) float64 {
	most := 0.0
	for h := math.Floor(from / 60); h < to/60; h++ {
		x := s.rain(h * 60)
		if math.IsNaN(x) {
			return x
		}
		most = max(most, x)
	}
	return most
}

// clearing returns the minutes a pad that it takes to clear the base at a minute.
func (s *Site) clearing(minute float64) float64 {
	if harm.Puddled(s.truth.Members[0].RainMM, int(math.Floor(minute/60))) {
		return harm.PuddleMin
	}
	return 0
}

// frozen reports whether the base is frozen at a minute, as the service models it.
func (s *Site) frozen(minute float64) bool { return s.slabs.Frozen(0, s.clock(minute), "") }
