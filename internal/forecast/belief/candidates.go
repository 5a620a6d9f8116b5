package belief

import (
	"math"
	"time"
)

// Place is what candidates are chosen by.
type Place struct {
	Latitude, Longitude float64
	// WetShare is the share of hours with more than 0.1 mm that the place is thought
	// to have in this season, 0 to 1.
	WetShare float64
}

// How candidates are chosen (judgement, checked on the training records): days
// within seasonDays of the date, in a half-year's other hemisphere where that
// is needed; a region counts the less the further its latitude and its share
// of wet hours lie from the place's.
const (
	seasonDays     = 45
	halfYear       = 183
	latitudeSpread = 15.0 // degrees
	wetShareSpread = 0.7  // of the logarithm
	wetShareFloor  = 0.01
)

// shifts are the hours by which candidates are moved, in turn: rain is foreseen
// a little early or late.
var shifts = [...]int{0, -1, 1, 0, -2, 2}

// candidate is a stretch of a record: hours [at, at+n).
type candidate struct {
	record *Record
	at     int
	weight float64
}

// candidates returns count stretches of n hours that begin at the solar hour of
// start, in proportion to how near their climate is; fewer where the library
// has none. The choice is seeded by nothing: it is the same for the same place,
// date and hour.
func (l *Library) candidates(p Place, start time.Time, n, count int) []candidate {
	all, regions := l.inSeason(p, start, n)
	sum := 0.0
	for i := range all {
		c := &all[i]
		r := regions[c.record.Region]
		d := (math.Abs(p.Latitude) - math.Abs(c.record.Latitude)) / latitudeSpread
		e := math.Log((p.WetShare+wetShareFloor)/(r.wet/r.hours+wetShareFloor)) / wetShareSpread
		c.weight = math.Exp(-(d*d+e*e)/2) / r.stretches
		sum += c.weight
	}
	if sum == 0 {
		return nil
	}
	out := make([]candidate, 0, count)
	at, passed := 0.5, 0.0
	for i := range all {
		passed += all[i].weight / sum * float64(count)
		for at < passed && len(out) < count {
			c := all[i]
			c.at += shifts[len(out)%len(shifts)]
			at++
			if c.known(n) {
				out = append(out, c)
			}
		}
	}
	return out
}

func (c *candidate) known(n int) bool {
	if c.at < 0 || c.at+n > len(c.record.Codes) {
		return false
	}
	for _, x := range c.record.Codes[c.at : c.at+n] {
		if x == Unknown {
			return false
		}
	}
	return true
}

// climate is what a region's stretches of a season hold.
type climate struct{ wet, hours, stretches float64 }

// inSeason lists the stretches of a season, and the regions that they are of.
func (l *Library) inSeason(p Place, start time.Time, n int) ([]candidate, map[string]*climate) {
	var out []candidate
	regions := map[string]*climate{}
	hour := start.Add(solar(p.Longitude)).UTC().Hour()
	day := start.Add(solar(p.Longitude)).UTC().YearDay()
	for i := range l.records {
		r := &l.records[i]
		want := day
		if (p.Latitude < 0) != (r.Latitude < 0) {
			want += halfYear
		}
		local := r.Start.Add(solar(r.Longitude)).UTC()
		first := (hour - local.Hour() + 24) % 24
		for at := first; at+n <= len(r.Codes); at += 24 {
			apart := ((local.YearDay()+(local.Hour()+at)/24-want)%365 + 365) % 365
			if min(apart, 365-apart) > seasonDays {
				continue
			}
			c := candidate{record: r, at: at}
			if !c.known(n) {
				continue
			}
			out = append(out, c)
			g := regions[r.Region]
			if g == nil {
				g = &climate{}
				regions[r.Region] = g
			}
			g.stretches++
			for _, x := range r.Codes[at:min(at+24, at+n)] {
				g.hours++
				if x > 0 {
					g.wet++
				}
			}
		}
	}
	return out, regions
}

// solar returns how far the sun's clock is ahead of UTC at a longitude, in
// whole hours.
func solar(longitude float64) time.Duration {
	return time.Duration(math.Round(longitude/15)) * time.Hour
}
