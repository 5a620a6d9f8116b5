package emulate

import (
	"fmt"
	"math"
	"time"

	"dryslot/internal/unit"
)

// dayHours is the length of a day here: days are cut at local midnight of the
// zone's summer offset, which never changes, so that one day's hours can stand
// in for another's.
const dayHours = 24

// blocks are the hours in which a day's rain is described.
var blocks = [5][2]int{{0, 6}, {6, 10}, {10, 14}, {14, 18}, {18, 24}}

// description is a day's rain by block, as log(1 + mm/0.25): so that the step
// from dry to damp counts as much as that from wet to very wet (judgement).
type description [len(blocks)]float64

const dampMM = 0.25

// seasonDays is how far from a date, in days of the year, its season reaches.
const seasonDays = 45

// Station is a record cut into days.
type Station struct {
	*Record
	Zone  *time.Location
	Group int // stations that count as one share a number

	id      uint64
	shared  uint64     // of the region
	peers   []*Station // the records of the same station, this one among them
	first   time.Time  // midnight that begins day 0
	begin   int        // its hour in the record
	dates   []unit.Date
	whole   []bool                            // every hour of the day known
	desc    [][2*longestShift + 1]description // by displacement, from the earliest
	damp    []bool                            // dampMM or more in the day: what the skills are stated for
	season  [][]int32                         // days of the peers that can stand in for each day, numbered through
	airMean []float64                         // daily mean, C; NaN where not whole
	airNorm []float64                         // usual for the season, C
	airSD   float64                           // of daily means about it
	cloud   []float64                         // percent, by hour of the record
	clear   []float64                         // sun on the level under a clear sky, W/m2, by hour of the record
	sun     []float64                         // the same through the clouds
}

// NewStation cuts a record into days. It refuses a record with fewer than 60
// whole days: nothing can be drawn from it.
func NewStation(r *Record, zone *time.Location, group int) (*Station, error) {
	_, offset := time.Date(r.Start.Year(), time.July, 1, 12, 0, 0, 0, zone).Zone()
	s := &Station{Record: r, Zone: zone, Group: group, id: hash(r.Station)}
	local := r.Start.Add(time.Duration(offset) * time.Second)
	midnight := local.Truncate(dayHours * time.Hour)
	if midnight.Before(local) {
		midnight = midnight.AddDate(0, 0, 1)
	}
	s.first = midnight.Add(-time.Duration(offset) * time.Second)
	s.begin = r.Index(s.first)
	days := (r.Hours() - s.begin) / dayHours
	if days < 0 {
		days = 0
	}
	whole := 0
	for d := range days {
		s.dates = append(s.dates, unit.DateOf(midnight.AddDate(0, 0, d), time.UTC))
		s.describe(d)
		if s.whole[d] {
			whole++
		}
	}
	const least = 60
	if whole < least {
		return nil, fmt.Errorf(
			"emulate: station %s has %d days with every hour of rain, air, humidity and wind; at least %d are needed",
			r.Station,
			whole,
			least,
		)
	}
	s.seasons([]*Station{s})
	s.norms()
	s.sky()
	return s, nil
}

// describe appends day d's description.
func (s *Station) describe(d int) {
	a := s.hourOfDay(d)
	whole, sum, day := true, 0.0, 0.0
	for h := a; h < a+dayHours; h++ {
		for _, v := range [][]float64{s.RainMM, s.AirC, s.Humidity, s.WindMS} {
			whole = whole && !math.IsNaN(v[h])
		}
		sum += s.AirC[h]
	}
	for _, x := range s.RainMM[a+blocks[0][1] : a+dayHours] {
		day += x
	}
	var z [2*longestShift + 1]description
	for k := range z {
		z[k] = s.displaced(a, k-longestShift)
	}
	s.damp = append(s.damp, day >= dampMM)
	if !whole {
		sum = math.NaN()
	}
	s.whole = append(s.whole, whole)
	s.desc = append(s.desc, z)
	s.airMean = append(s.airMean, sum/dayHours)
}

// displaced describes the day that begins at an hour, had its rain fallen so
// many hours later.
func (s *Station) displaced(a, hours int) (z description) {
	for b, span := range blocks {
		mm := 0.0
		for h := a + span[0] - hours; h < a+span[1]-hours; h++ {
			if h >= 0 && h < len(s.RainMM) && s.RainMM[h] > 0 {
				mm += s.RainMM[h]
			}
		}
		z[b] = math.Log1p(mm / dampMM)
	}
	return z
}

// peer returns the station and day of a number in season.
func (s *Station) peer(k int32) (*Station, int) {
	for _, o := range s.peers {
		if int(k) < o.Days() {
			return o, int(k)
		}
		k -= int32(o.Days())
	}
	panic("emulate: no such day") // a slip here: season holds only days of the peers
}

// hourOfDay returns the record's hour at which day d begins.
func (s *Station) hourOfDay(d int) int { return s.begin + d*dayHours }

// Days returns how many days the station has.
func (s *Station) Days() int { return len(s.dates) }

// Date returns the date of day d.
func (s *Station) Date(d int) unit.Date { return s.dates[d] }

// Whole reports whether every hour of day d is known.
func (s *Station) Whole(d int) bool { return d >= 0 && d < len(s.whole) && s.whole[d] }

// DayOf returns the day that holds an instant; it may lie outside the record.
func (s *Station) DayOf(t time.Time) int {
	d := t.Sub(s.first)
	n := int(d / (dayHours * time.Hour))
	if d%(dayHours*time.Hour) < 0 {
		n--
	}
	return n
}

// DayOfYear returns 1 to 366 for day d.
func (s *Station) DayOfYear(d int) int { return yearDay(s.dates[d]) }

func yearDay(d unit.Date) int {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).YearDay()
}

// seasons lists the days that can stand in for each day: whole, of the same
// station and season, and not of the same date.
func (s *Station) seasons(peers []*Station) {
	s.peers = peers
	s.season = make([][]int32, s.Days())
	for d := range s.season {
		first := int32(0)
		for _, o := range peers {
			for k := range o.dates {
				apart := (s.DayOfYear(d) - o.DayOfYear(k) + 365) % 365
				if o.dates[k] != s.dates[d] && o.whole[k] && min(apart, 365-apart) <= seasonDays {
					s.season[d] = append(s.season[d], first+int32(k))
				}
			}
			first += int32(o.Days())
		}
	}
}

// norms smooths the daily means over 61 days.
func (s *Station) norms() {
	const reach = 30
	s.airNorm = make([]float64, s.Days())
	var sq float64
	var n int
	for d := range s.airNorm {
		sum, k := 0.0, 0
		for e := max(0, d-reach); e <= min(s.Days()-1, d+reach); e++ {
			if s.whole[e] {
				sum += s.airMean[e]
				k++
			}
		}
		s.airNorm[d] = sum / float64(k)
		if s.whole[d] {
			sq += math.Pow(s.airMean[d]-s.airNorm[d], 2)
			n++
		}
	}
	s.airSD = math.Sqrt(sq / float64(n))
}
