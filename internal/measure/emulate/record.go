package emulate

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Record is one station's hourly weather. Every slice has one value an hour
// from Start; NaN is unknown.
type Record struct {
	Station   string
	Latitude  float64 // degrees, north positive
	Longitude float64 // degrees, east positive
	ElevM     float64
	Placed    bool // false: the coordinates are a guess
	Start     time.Time
	AirC      []float64
	Humidity  []float64 // percent
	WindMS    []float64
	RainMM    []float64 // of the hour [t, t+1 h) that the record names
	Doubtful  int       // readings outside what can be, taken as unknown
	Filled    int       // readings of air, humidity or wind filled between neighbours

	clock float64 // hours that the station's winter clock is ahead of UTC, where its rows say so
}

// Hours returns the length of the record.
func (r *Record) Hours() int { return len(r.RainMM) }

// Index returns the hour of t, which may lie outside the record.
func (r *Record) Index(t time.Time) int {
	d := t.Sub(r.Start)
	n := int(d / time.Hour)
	if d%time.Hour < 0 {
		n--
	}
	return n
}

// reading is one row as read; NaN is unknown.
type reading struct {
	at                         time.Time
	airC, humidity, wind, rain float64
	ahead                      float64 // hours that the row's own clock is ahead of UTC; NaN: not given
}

// What an hourly reading can be; anything else is a broken instrument or a
// slip. The widest ever measured near the ground lie within (WMO Archive of
// Weather and Climate Extremes, from memory: -89 to 57 C, 401 mm in an hour;
// no hourly mean wind of 70 m/s is known at a low station).
const (
	airMin, airMax = -90, 60
	windMax        = 70
	rainMax        = 401
)

// fillable is the longest gap in hours that air, humidity and wind are filled
// across in a straight line (judgement). Rain is never filled.
const fillable = 6

// build makes records of readings by station: sorted, laid on consecutive
// hours, doubtful values dropped, short gaps filled.
func build(rows map[string][]reading) ([]*Record, error) {
	names := make([]string, 0, len(rows))
	for name := range rows {
		names = append(names, name)
	}
	slices.Sort(names)
	var out []*Record
	for _, name := range names {
		rs := rows[name]
		slices.SortFunc(rs, func(a, b reading) int { return a.at.Compare(b.at) })
		r, err := lay(name, rs)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// longest is the longest record read: a wrong year must not fill the memory.
const longest = 40 * 366 * 24

func lay(name string, rs []reading) (*Record, error) {
	first, last := rs[0].at, rs[len(rs)-1].at
	n := int(last.Sub(first)/time.Hour) + 1
	if n > longest {
		return nil, fmt.Errorf("emulate: station %s: its rows reach from %s to %s, more than 40 years", name, first,
			last)
	}
	r := &Record{
		Station:  name,
		Start:    first,
		AirC:     unknown(n),
		Humidity: unknown(n),
		WindMS:   unknown(n),
		RainMM:   unknown(n),
	}
	for i, x := range rs {
		if i > 0 && x.at.Equal(rs[i-1].at) {
			return nil, fmt.Errorf("emulate: station %s: two rows for %s", name, x.at.Format(time.RFC3339))
		}
		h := r.Index(x.at)
		r.AirC[h] = r.within(x.airC, airMin, airMax)
		r.Humidity[h] = r.within(x.humidity, 0, 101)
		r.WindMS[h] = r.within(x.wind, 0, windMax)
		r.RainMM[h] = r.within(x.rain, 0, rainMax)
	}
	for _, v := range [][]float64{r.AirC, r.Humidity, r.WindMS} {
		r.fill(v)
	}
	r.clock = winterClock(rs)
	for i, h := range r.Humidity {
		r.Humidity[i] = min(h, 100)
	}
	return r, nil
}

// winterClock returns the least offset that the rows' own clock shows: summer
// time is ahead of it.
func winterClock(rs []reading) float64 {
	least := math.Inf(1)
	for _, x := range rs {
		if x.ahead < least {
			least = x.ahead
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}

func unknown(n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = math.NaN()
	}
	return v
}

func (r *Record) within(x, lo, hi float64) float64 {
	if x < lo || x > hi {
		r.Doubtful++
		return math.NaN()
	}
	return x
}

// fill draws a straight line across short gaps.
func (r *Record) fill(v []float64) {
	before := -1
	for i, x := range v {
		if math.IsNaN(x) {
			continue
		}
		if gap := i - before - 1; before >= 0 && gap > 0 && gap <= fillable {
			for k := 1; k <= gap; k++ {
				w := float64(k) / float64(gap+1)
				v[before+k] = v[before]*(1-w) + x*w
				r.Filled++
			}
		}
		before = i
	}
}

// neighbourKM is how near two stations lie that count as one: airports of one
// city see the same rain (judgement).
const neighbourKM = 30

// Neighbours numbers the records so that stations joined by steps of at most
// 30 km share a number. Records without coordinates share one.
func Neighbours(records []*Record) []int {
	group := make([]int, len(records))
	for i := range group {
		group[i] = i
	}
	join := func(a, b int) {
		from, to := max(group[a], group[b]), min(group[a], group[b])
		for i, g := range group {
			if g == from {
				group[i] = to
			}
		}
	}
	for i, a := range records {
		for j, b := range records[:i] {
			if (!a.Placed && !b.Placed) || (a.Placed && b.Placed && distanceKM(a, b) <= neighbourKM) {
				join(i, j)
			}
		}
	}
	return group
}

// distanceKM is along a great circle (haversine, mean radius 6,371 km).
func distanceKM(a, b *Record) float64 {
	rad := func(d float64) float64 { return d * math.Pi / 180 }
	hav := func(x float64) float64 { return math.Pow(math.Sin(x/2), 2) }
	h := hav(
		rad(a.Latitude-b.Latitude),
	) + math.Cos(
		rad(a.Latitude),
	)*math.Cos(
		rad(b.Latitude),
	)*hav(
		rad(a.Longitude-b.Longitude),
	)
	return 2 * 6371 * math.Asin(math.Sqrt(min(1, h)))
}
