package belief

import (
	"math"

	"dryslot/internal/forecast"
)

// Leads are the spans of a nowcast that have their own reliability.
const (
	RestOfHour = iota
	NextHour
	SecondHour
	ThirdAndFourth
	FifthAndSixth
	Leads
)

// NowcastHours is how many hours after the present one a nowcast covers.
const NowcastHours = 6

// LeadOf returns the span of an hour k hours after the present one, 0 to
// NowcastHours.
func LeadOf(k int) int {
	switch {
	case k <= SecondHour:
		return k
	case k <= 4:
		return ThirdAndFourth
	}
	return FifthAndSixth
}

// Reliability is how good a nowcast of WetMM or more in an hour is, by span.
type Reliability struct {
	Detection  [Leads]float64 // share of wet hours that are foreseen
	FalseAlarm [Leads]float64 // share of foreseen hours that stay dry
}

// Stated is the reliability that the service takes a nowcast to have: a little
// above one-hour persistence. Published verifications against gauges say that
// radar nowcasts hardly beat persistence beyond 20 to 60 minutes (Ebert 2004,
// Weather and Forecasting 19:73); the figures are judgement.
func Stated() Reliability {
	return Reliability{
		Detection:  [Leads]float64{0.85, 0.70, 0.55, 0.45, 0.40},
		FalseAlarm: [Leads]float64{0.20, 0.35, 0.50, 0.58, 0.62},
	}
}

// Said is what a nowcast says of one hour.
type Said uint8

// What can be said of an hour; Silent is where the nowcast has no value.
const (
	Silent Said = iota
	SaidDry
	SaidWet
	SaidHeavy // HeavyMM or more
)

// HeavyMM is the rain in an hour from which it is heavy: what spoils a pad.
const HeavyMM = forecast.HeavyMM

// Nowcast is what is said of the present hour's rest and of each hour after it.
type Nowcast [NowcastHours + 1]Said

// heavySaid is the chance that an hour said to be wet is said to be heavy, where
// it is not and where it is (judgement: amounts are foreseen badly).
var heavySaid = [2]float64{0.1, 0.5}

// onsetShare is how often rain that begins is foreseen against all rain, for
// the present hour's rest (judgement: onset is harder than continuation, 0.50
// against 0.80 for the next hour).
const onsetShare = 0.75

// mostAlarms bounds false alarms of dry hours against detection of wet ones:
// where it rains so often that the stated false-alarm ratio would say more, the
// nowcast would be worth nothing.
const mostAlarms = 0.8

// Channel turns a reliability into the chance of each saying given the truth.
type Channel struct {
	none  bool
	dry   [Leads][2]float64 // chance of being said wet, of a dry hour: apart from rain, beside it
	wet   [Leads][2]float64 // the same of a wet hour: rain that begins, rain that goes on
	trust float64           // exponent of what is said beyond the next hour: errors go together
}

// Frequencies are what a climate's hours are like, as far as the channel needs
// them; shares of hours.
type Frequencies struct {
	Wet    float64 // wet, of all
	Beside float64 // next to a wet one, of the dry
	Onset  float64 // after a dry one, of the wet
}

// laterTrust is that exponent; of 0.3, 0.5 and 0.8 this foresees the next five
// hours best on the training records.
const laterTrust = 0.5

// NewChannel works out the chances. Spans are nested: what is said of a later
// span is what is said of the span before it, with more errors.
func (r Reliability) NewChannel(f Frequencies) Channel {
	c := Channel{trust: laterTrust}
	odds := f.Wet / (1 - f.Wet)
	alarms := func(k int) float64 { // said wet, of the dry: always fewer than of the wet
		return r.Detection[k] * min(mostAlarms, odds*r.FalseAlarm[k]/(1-r.FalseAlarm[k]))
	}
	q := alarms(0) / (4*f.Beside + 1 - f.Beside)
	on := onsetShare * r.Detection[0]
	going := min(0.98, (r.Detection[0]-f.Onset*on)/(1-f.Onset))
	c.dry[0] = [2]float64{q, min(1, 4*q)}
	c.wet[0] = [2]float64{on, going}
	for k := 1; k < Leads; k++ {
		p0, p1, f0, f1 := r.Detection[k-1], r.Detection[k], alarms(k-1), alarms(k)
		det := p0*(1-f0) - f0*(1-p0)
		keep := (p1*(1-f0) - f1*(1-p0)) / det // said still, of what was said wet
		fresh := (p0*f1 - f0*p1) / det        // said anew, of what was said dry
		for i := range 2 {
			c.dry[k][i] = chance(keep*c.dry[k-1][i] + fresh*(1-c.dry[k-1][i]))
			c.wet[k][i] = chance(keep*c.wet[k-1][i] + fresh*(1-c.wet[k-1][i]))
		}
	}
	return c
}

func chance(p float64) float64 { return min(max(p, 0.001), 0.999) }

// NoNowcast is the channel of a nowcast that is not to be had.
func NoNowcast() Channel { return Channel{none: true} }

// ChanceSaid returns the chance that an hour k hours ahead is said to be wet,
// whose rain is mm after an hour of before and ahead of one of after.
func (c *Channel) ChanceSaid(k int, before, mm, after float64) float64 {
	span := LeadOf(k)
	if mm >= WetMM {
		if before >= WetMM {
			return c.wet[span][1]
		}
		return c.wet[span][0]
	}
	if before >= WetMM || after >= WetMM {
		return c.dry[span][1]
	}
	return c.dry[span][0]
}

// likelihood returns how likely what is said of an hour is.
func (c *Channel) likelihood(k int, said Said, before, mm, after float64) float64 {
	if c.none || said == Silent {
		return 1
	}
	p := c.ChanceSaid(k, before, mm, after)
	heavy := heavySaid[0]
	if mm >= HeavyMM {
		heavy = heavySaid[1]
	}
	var l float64
	switch said {
	case SaidDry:
		l = 1 - p
	case SaidHeavy:
		l = p * heavy
	default:
		l = p * (1 - heavy)
	}
	l = max(l, 0.001)
	if k > NextHour {
		l = math.Pow(l, c.trust)
	}
	return l
}

// Told returns ChanceSaid, and 0 where there is no nowcast.
func (c *Channel) Told(k int, before, mm, after float64) float64 {
	if c.none {
		return 0
	}
	return c.ChanceSaid(k, before, mm, after)
}
