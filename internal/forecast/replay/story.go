package replay

import (
	"math"

	"dryslot/internal/forecast"
)

// kind is a sort of day. All figures are invented.
type kind struct {
	warmer float64 // K against the season
	swing  float64 // K, half of the day's range under a high sun
	spread float64 // K, of the night's lowest temperature over the dew point
	cloud  float64 // %
	wind   float64 // m/s at 10 m by day
	spells []spell
}

// spell is rain within a day, from one hour of the sun's clock to another.
type spell struct {
	from, to int
	chance   float64 // of the wet event in each hour
	mm       float64 // in an hour
	thunder  bool    // where the day is warm enough for it
}

// background is the chance of rain in an hour that the story does not mention.
const background = 0.01

var (
	fine     = kind{warmer: 1, swing: 6.5, spread: 2, cloud: 15, wind: 2.5}
	hazy     = kind{warmer: 2, swing: 5.5, spread: 1.5, cloud: 45, wind: 2}
	breezy   = kind{warmer: 0, swing: 5, spread: 5, cloud: 30, wind: 7}
	coldDay  = kind{warmer: -7, swing: 7, spread: 3, cloud: 5, wind: 1.5}
	wetNight = kind{warmer: 0, swing: 4, spread: 0.8, cloud: 60, wind: 3,
		spells: []spell{{from: 0, to: 4, chance: 0.7, mm: 1.6}}}
	fineThenShowers = kind{warmer: 1, swing: 5.5, spread: 1.5, cloud: 35, wind: 3,
		spells: []spell{{from: 18, to: 21, chance: 0.35, mm: 1.1}, {from: 21, to: 24, chance: 0.2, mm: 0.3}}}
	showery = kind{warmer: -1, swing: 4, spread: 1, cloud: 70, wind: 4.5,
		spells: []spell{{from: 5, to: 7, chance: 0.3, mm: 0.4}, {from: 11, to: 13, chance: 0.45, mm: 1.8},
			{from: 14, to: 17, chance: 0.55, mm: 3.2, thunder: true}, {from: 17, to: 20, chance: 0.25, mm: 0.5}}}
	rainy = kind{warmer: -2, swing: 2, spread: 0.5, cloud: 98, wind: 5.5,
		spells: []spell{{from: 3, to: 9, chance: 0.6, mm: 0.7}, {from: 9, to: 16, chance: 0.85, mm: 1.7},
			{from: 16, to: 22, chance: 0.5, mm: 0.6}}}
)

// story is the invented weather, from the day before yesterday on.
var story = [lastDay - firstDay + 1]kind{
	rainy, wetNight,
	fineThenShowers, fineThenShowers, showery, rainy, coldDay, fine, fine, breezy,
	hazy, fineThenShowers, showery, fine, coldDay, fine, rainy, hazy,
}

// thunderFrom is the mean temperature from which a shower may thunder.
const thunderFrom = 15 // C, invented

// tell adds the 24 hours of one of the days into the draft.
func tell(d *forecast.Draft, days []day, today int) {
	y := &days[today]
	for h := range 24 {
		at, hour := today*24+h, float64(h)
		// Coldest at three and warmest at three by the sun's clock; the days
		// run into each other.
		mean := between(days, today, hour, func(y *day) float64 { return y.mean })
		swing := between(days, today, hour, func(y *day) float64 { return y.swing })
		dew := between(days, today, hour, func(y *day) float64 { return y.dew })
		air := mean - swing*math.Cos(2*math.Pi*(hour-3)/24)
		s := y.kind.at(h)
		if s.mm > 0 {
			air -= 1 // rain cools
		}
		put := func(v forecast.Variable, x float64) { d.Put(at, v, round(x), v.String(), at) }
		put(forecast.AirC, air)
		put(forecast.DewPointC, math.Min(dew+y.rand.Float64()*0.4, air))
		// Wind rises and falls with the sun.
		wind := y.kind.wind * (0.55 + 0.45*math.Max(0, math.Sin(2*math.Pi*(hour-7)/24)))
		put(forecast.WindMS, wind*(0.85+0.3*y.rand.Float64()))
		put(forecast.GustMS, wind*(1.7+0.4*y.rand.Float64()))
		put(forecast.CloudPct, math.Max(0, math.Min(100, y.kind.cloud+30*(y.rand.Float64()-0.5)+25*s.chance)))
		mm := s.mm * (0.6 + 0.8*y.rand.Float64())
		put(forecast.RainMM, mm)
		put(forecast.RainChance, blurred(s.chance, y.lead))
		snow := 0.0
		if air < 0.5 { // C, invented: below it rain falls as snow
			snow = mm
		}
		put(forecast.SnowMM, snow)
		thunder := 0.0
		if s.thunder && y.mean >= thunderFrom {
			thunder = 1
		}
		put(forecast.ThunderChance, thunder)
	}
}

// between returns a figure of the days at an hour, on the line from noon to noon.
func between(days []day, today int, hour float64, of func(*day) float64) float64 {
	other := today + 1
	if hour < 12 {
		other = today - 1
	}
	other = max(0, min(len(days)-1, other))
	share := math.Abs(hour-12) / 24
	return of(&days[today])*(1-share) + of(&days[other])*share
}

// at returns the spell of an hour, or the background without any rain.
func (k kind) at(h int) spell {
	for _, s := range k.spells {
		if h >= s.from && h < s.to {
			return s
		}
	}
	return spell{chance: background}
}

// blurred draws a chance towards the season's usual one with the days ahead,
// as a real forecast's chances are.
func blurred(chance float64, lead int) float64 {
	const usual, days = 0.08, 25
	return chance + (usual-chance)*math.Max(0, float64(lead-1))/days
}

// round keeps two decimals, as feeds do.
func round(x float64) float64 { return math.Round(x*100) / 100 }
