package emulate

import (
	"math"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// NowcastKind is how good an emulated nowcast is.
type NowcastKind uint8

// The kinds. An ordinary nowcast has the reliability stated in Ordinary; with a
// perfect one, the rest of this hour and the next hour are known.
const (
	NoNowcast NowcastKind = iota
	OrdinaryNowcast
	PerfectHour
)

// A nowcast covers this hour and the six after it, in five classes of lead:
// the rest of this hour, the next hour, the 2nd, the 3rd and 4th, the 5th and
// 6th.
const (
	NowcastHours = 7
	nowcastLeads = 5
)

func nowcastLead(hoursAhead int) int {
	return [NowcastHours]int{0, 1, 2, 3, 3, 4, 4}[hoursAhead]
}

// Reliability is how often a nowcast of rain of 0.25 mm or more in an hour is
// right, by class of lead.
type Reliability struct {
	Detected   [nowcastLeads]float64 // share of wet hours that were foreseen (probability of detection)
	FalseAlarm [nowcastLeads]float64 // share of foreseen hours that stayed dry (false-alarm ratio)
	// Onset and Continuation are the shares of wet hours foreseen in the next
	// hour, after a dry and after a wet hour. Where onsets are many, Detected is
	// reached only with a larger share of them.
	Onset, Continuation float64
}

// Ordinary is the reliability of the ordinary nowcast: a little above
// persistence of one hour. Against gauges, radar nowcasts hardly beat
// persistence beyond 20 to 60 minutes (Ebert and others 2004, Weather and
// Forecasting 19:73); the figures themselves are judgement.
func Ordinary() Reliability {
	return Reliability{
		Detected:   [nowcastLeads]float64{0.85, 0.70, 0.55, 0.45, 0.40},
		FalseAlarm: [nowcastLeads]float64{0.20, 0.35, 0.50, 0.58, 0.62},
		Onset:      0.50, Continuation: 0.80,
	}
}

// Foreseen is what a nowcast says of one hour.
type Foreseen uint8

// What it can say: heavy is 2.5 mm or more.
const (
	ForeseenDry Foreseen = iota
	ForeseenRain
	ForeseenHeavy
)

// The nowcast's classes of rain, in mm in an hour.
const (
	nowcastLight = 0.25
	nowcastHeavy = 2.5
)

// Seen is what is known of the rain of the next hours at an instant.
type Seen struct {
	Raining bool // rain of 0.25 mm or more in this hour has begun
	None    bool // there is no nowcast: Hours says nothing
	Hours   [NowcastHours]Foreseen
}

// Wet reports whether the nowcast foresees rain so many hours after this one.
func (s *Seen) Wet(hoursAhead int) bool { return s.Hours[hoursAhead] != ForeseenDry }

// Nowcast is an emulated nowcast at one station: for every hour what was said
// of it at each class of lead. What is said at a longer lead is what is said
// at the next shorter one with further errors, so that a newer nowcast holds
// all there is to know. Errors of neighbouring hours go together.
type Nowcast struct {
	station *Station
	none    bool
	chances nowcastChances
	said    [nowcastLeads][]Foreseen
	begins  []float64 // share of a wet hour that passes before its rain begins
}

// Errors of the nowcast (judgement).
const (
	hourToHour     = 0.7  // correlation of the errors of an hour and the next
	nearRain       = 4    // a false alarm is so much likelier in a dry hour beside a wet one
	heavySeen      = 0.5  // share of foreseen heavy rain that the nowcast calls heavy
	lightSaidHeavy = 0.1  // share of false alarms and lighter rain that the nowcast calls heavy
	surest         = 0.99 // greatest chance that rain which goes on is foreseen
)

// Nowcast makes the station's nowcast. The same station and kind give the same.
func (s *Station) Nowcast(kind NowcastKind) *Nowcast { return s.nowcast(kind, 0) }

func (s *Station) nowcast(kind NowcastKind, seed uint64) *Nowcast {
	n := &Nowcast{station: s, none: kind == NoNowcast, begins: make([]float64, s.Hours())}
	c := s.nowcastChances(kind)
	n.chances = c
	for lead := range n.said {
		n.said[lead] = make([]Foreseen, s.Hours())
	}
	rnd := rand.New(rand.NewPCG(s.id+seed, hash("nowcast")))
	var latent [nowcastLeads]float64
	for h := range s.RainMM {
		n.begins[h] = rnd.Float64()
		if s.rains(h - 1) {
			n.begins[h] = 0
		}
		saidHeavy := lightSaidHeavy
		if s.RainMM[h] >= nowcastHeavy {
			saidHeavy = heavySeen
		}
		rain := ForeseenRain
		if rnd.Float64() < saidHeavy {
			rain = ForeseenHeavy
		}
		wet := false
		for lead := range latent {
			latent[lead] = hourToHour*latent[lead] + math.Sqrt(1-hourToHour*hourToHour)*rnd.NormFloat64()
			u := distuv.UnitNormal.CDF(latent[lead])
			switch {
			case lead == 0:
				wet = u < c.first[s.hourClass(h)]
			case wet:
				wet = u < c.keep[lead]
			default:
				wet = u < c.add[lead]
			}
			if wet {
				n.said[lead][h] = rain
			}
		}
	}
	return n
}

// At returns what is known at an instant.
func (n *Nowcast) At(t time.Time) Seen {
	h := n.station.Index(t)
	out := Seen{None: n.none}
	if h < 0 || h >= n.station.Hours() {
		return out
	}
	passed := t.Sub(n.station.Start.Add(time.Duration(h) * time.Hour)).Hours()
	out.Raining = n.station.rains(h) && passed >= n.begins[h]
	if n.none {
		return out
	}
	for k := range out.Hours {
		if h+k < n.station.Hours() {
			out.Hours[k] = n.said[nowcastLead(k)][h+k]
		}
	}
	return out
}

// rains reports whether an hour of the record has 0.25 mm or more; one outside it
// or unknown does not.
func (s *Station) rains(h int) bool {
	return h >= 0 && h < len(s.RainMM) && s.RainMM[h] >= nowcastLight
}

// hourClass sorts the hours by how hard they are to foresee.
type hourClass uint8

const (
	dryAlone   hourClass = iota
	dryBeside            // a dry hour before or after a wet one
	wetOnset             // a wet hour after a dry one
	wetGoingOn           // a wet hour after a wet one
	numHourClasses
)

func (s *Station) hourClass(h int) hourClass {
	return classOf(s.rains(h-1), s.rains(h), s.rains(h+1))
}

func classOf(before, here, after bool) hourClass {
	switch {
	case here && before:
		return wetGoingOn
	case here:
		return wetOnset
	case before || after:
		return dryBeside
	}
	return dryAlone
}

// nowcastChances are the chances that an hour is foreseen to be wet: at the
// first class of lead by the hour's class, at each further one by whether it
// was at the one before.
type nowcastChances struct {
	first     [numHourClasses]float64
	keep, add [nowcastLeads]float64
}

// nowcastChances finds the chances that give a nowcast its stated reliability
// in the working hours of the pouring season, with the station's own shares of
// wet hours and onsets.
func (s *Station) nowcastChances(kind NowcastKind) (c nowcastChances) {
	if kind == NoNowcast {
		return c
	}
	stated := Ordinary()
	if kind == PerfectHour {
		for lead := range 2 {
			stated.Detected[lead], stated.FalseAlarm[lead] = 1, 0
		}
	}
	share := s.hourShares()
	wet := share[wetOnset] + share[wetGoingOn]
	if wet == 0 {
		return c
	}
	alarms := func(lead int) float64 { // share of dry hours that are foreseen to be wet
		far := stated.FalseAlarm[lead]
		return stated.Detected[lead] * wet / (1 - wet) * far / (1 - far)
	}
	for lead := 1; lead < nowcastLeads; lead++ {
		d0, f0, d1, f1 := stated.Detected[lead-1], alarms(lead-1), stated.Detected[lead], alarms(lead)
		det := d0*(1-f0) - f0*(1-d0)
		c.keep[lead] = (d1*(1-f0) - f1*(1-d0)) / det
		c.add[lead] = max(0, (d0*f1-f0*d1)/det)
	}
	alone := alarms(0) / ((nearRain*share[dryBeside] + share[dryAlone]) / (1 - wet))
	c.first[dryAlone], c.first[dryBeside] = alone, min(1, nearRain*alone)
	if kind == PerfectHour {
		c.first = [numHourClasses]float64{wetOnset: 1, wetGoingOn: 1}
		return c
	}
	// At the next hour, onset and continuation as stated; so at this one.
	by := stated.Detected[1] / ((share[wetOnset]*stated.Onset + share[wetGoingOn]*stated.Continuation) / wet)
	onset := min(surest, max(0, (by*stated.Onset-c.add[1])/(c.keep[1]-c.add[1])))
	onsets := share[wetOnset] / wet
	goingOn := min(surest, (stated.Detected[0]-onsets*onset)/max(0.01, 1-onsets))
	c.first[wetOnset], c.first[wetGoingOn] = (stated.Detected[0]-(1-onsets)*goingOn)/onsets, goingOn
	return c
}

// Working hours and season that the nowcast's reliability is stated for.
const (
	workFrom, workUntil     = 5, 20
	seasonFirst, seasonLast = 100, 290
)

// hourShares returns the share of each class among the hours that count.
func (s *Station) hourShares() (share [numHourClasses]float64) {
	n := 0.0
	s.eachWorkHour(func(h int) {
		share[s.hourClass(h)]++
		n++
	})
	for k := range share {
		share[k] /= max(1, n)
	}
	return share
}

// eachWorkHour calls f with the hours from 05 to 20 o'clock of the whole days
// of the pouring season.
func (s *Station) eachWorkHour(f func(h int)) {
	for d := range s.Days() {
		if y := s.DayOfYear(d); y < seasonFirst || y > seasonLast || !s.whole[d] {
			continue
		}
		for h := s.hourOfDay(d) + workFrom; h < s.hourOfDay(d)+workUntil; h++ {
			f(h)
		}
	}
}

// Begins returns the share of an hour that passes before its rain begins, where
// it rains.
func (n *Nowcast) Begins(hour int) float64 {
	if hour < 0 || hour >= len(n.begins) {
		return 0
	}
	return n.begins[hour]
}

// Likelihood returns how likely a nowcast is on a day whose rain in mm is
// rainAhead of hours after this one, -1 and on. Errors of an hour and the next
// go together, so that what is said of later hours counts by half.
func (n *Nowcast) Likelihood(seen *Seen, rainAhead func(int) float64) float64 {
	if n.none {
		return 1
	}
	const least = 0.001 // nothing is ruled out
	like := 1.0
	wet := func(ahead int) bool { return rainAhead(ahead) >= nowcastLight }
	before, here := wet(-1), wet(0)
	for k, said := range seen.Hours {
		after := wet(k + 1)
		if k == 0 && seen.Raining {
			before, here = here, after
			continue
		}
		p := n.chanceSaid(nowcastLead(k), classOf(before, here, after))
		heavy := lightSaidHeavy
		if rainAhead(k) >= nowcastHeavy {
			heavy = heavySeen
		}
		l := 1 - p
		switch said {
		case ForeseenRain:
			l = p * (1 - heavy)
		case ForeseenHeavy:
			l = p * heavy
		}
		l = max(least, l)
		if k > 1 {
			l = math.Sqrt(l)
		}
		like *= l
		before, here = here, after
	}
	return like
}

// chanceSaid returns the chance that an hour of a class is foreseen to be wet at
// a lead.
func (n *Nowcast) chanceSaid(lead int, c hourClass) float64 {
	p := n.chances.first[c]
	for l := 1; l <= lead; l++ {
		p = n.chances.keep[l]*p + n.chances.add[l]*(1-p)
	}
	return p
}
