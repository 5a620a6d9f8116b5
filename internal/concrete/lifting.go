package concrete

import (
	"math"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// LiftLimit is the most that one person should lift under the best of
// conditions: 23 kg, 51 lb (NIOSH 94-110, from memory).
const LiftLimit unit.Kilograms = 51 * unit.KilogramsPerPound

// Lift is how a load is lifted.
type Lift struct {
	HandsOutIn float64 // horizontal distance of the hands from the ankles, inches; 10 or less is best
	FromIn     float64 // height of the hands at the start, inches; 30 is best
	TravelIn   float64 // how far up or down the load travels, inches; 10 or less is best
	TwistDeg   float64 // turning of the trunk, degrees
	PerMinute  float64 // lifts; 0: once in a while
	WorkHours  float64 // of lifting in the day; 0: up to one
	Grip       float64 // multiplier for the grip, 0.9 (poor) to 1; 0 stands for 1
}

// liftRates and liftMultipliers are NIOSH 94-110's table 5 (from memory,
// confirmed by a quoted copy): by lifts a minute, for up to 1, 2 and 8 hours.
// From 9 a minute on, lifts from below 30 in have 0 over the longer times; the
// few rows above it that differ by height are taken as for the lower lift.
var (
	liftRates       = [...]float64{0.2, 0.5, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}
	liftMultipliers = [3][len(liftRates)]float64{
		{1, .97, .94, .91, .88, .84, .80, .75, .70, .60, .52, .45, .41, .37},
		{.95, .92, .88, .84, .79, .72, .60, .50, .42, .35, .30, .26, 0, 0},
		{.85, .81, .75, .65, .55, .45, .35, .27, .22, .18, 0, 0, 0, 0},
	}
)

// often is the multiplier for how often and for how long is lifted: the next
// rate in the table, 0 beyond it.
func (l Lift) often() float64 {
	hours := 0
	switch {
	case l.WorkHours > 2:
		hours = 2
	case l.WorkHours > 1:
		hours = 1
	case l.PerMinute == 0:
		return 1
	}
	for i, r := range liftRates {
		if l.PerMinute <= r {
			return liftMultipliers[hours][i]
		}
	}
	return 0
}

// LiftWeight returns the recommended weight limit of a lift (NIOSH 94-110, US
// form, from memory), 0 where none may be lifted so:
//
//	51 lb x 10/H x (1 - 0.0075 |V-30|) x (0.82 + 1.8/D) x (1 - 0.0032 A) x FM x CM
//
// Carrying and wheelbarrows lie outside the equation.
func LiftWeight(l Lift) unit.Kilograms {
	grip := l.Grip
	if grip == 0 {
		grip = 1
	}
	h := 10 / math.Max(10, l.HandsOutIn)
	if l.HandsOutIn > 25 {
		h = 0
	}
	v := math.Max(0, 1-0.0075*math.Abs(l.FromIn-30))
	d := math.Min(1, 0.82+1.8/math.Max(10, l.TravelIn))
	a := math.Max(0, 1-0.0032*l.TwistDeg)
	return LiftLimit * unit.Kilograms(h*v*d*a*l.often()*grip)
}

// A bag's lift: from the floor to the mouth of a small mixer, with the poor
// grip of a sack (NIOSH 94-110 calls bags that sag poor), two hours' worth of
// lifting in the day (judgement); the hands are 30 cm out at best and 45 cm
// over a bag lying flat (common practice).
const (
	mixerMouthCM = 90.0
	bagGrip      = 0.90
	bagHours     = 2.0
	bagNearCM    = 30.0
	bagUsualCM   = 40.0
	bagFarCM     = 45.0
	cmPerInch    = 2.5 // as the equation's metric form has it: 25 cm for 10 in, 75 for 30
)

// LiftingIndex returns a bag's weight over the recommended limit when it is
// lifted from the floor into a mixer so many times an hour with the hands
// outCM from the ankles. Above 1 the lift is heavy for some people, above 3
// for most (NIOSH 94-110, from memory). +Inf where none may be lifted so.
func LiftingIndex(bag unit.Kilograms, perHour, outCM float64) float64 {
	return float64(bag / LiftWeight(Lift{HandsOutIn: outCM / cmPerInch, TravelIn: mixerMouthCM / cmPerInch,
		PerMinute: perHour / 60, WorkHours: bagHours, Grip: bagGrip}))
}

// LiftRule speaks of a bag lifted so many times an hour whose lifting index is
// above 1, and returns nil for a lighter one.
func LiftRule(bag unit.Kilograms, perHour float64) *Rule {
	near, usual, far := LiftingIndex(bag, perHour, bagNearCM), LiftingIndex(bag, perHour, bagUsualCM),
		LiftingIndex(bag, perHour, bagFarCM)
	if near <= 1 {
		return nil
	}
	r := &Rule{ID: "heavy-bags", Severity: Note, SourceData: message.New(sourceLifting),
		Figure: figure("lifting_index", usual, 1)}
	if near > 3 {
		r.Severity = Watch
	}
	if math.IsInf(near, 1) {
		r.Figure = nil
		r.Data = says(message.New(RuleTooManyLifts, message.Number("an_hour", math.Round(perHour))))
		return r
	}
	tenth := func(v float64) float64 { return math.Round(v*10) / 10 }
	r.Data = says(message.New(RuleHeavyBags, message.Number("an_hour", math.Round(perHour)), message.Number("times",
		tenth(near)), message.Number("far", tenth(far)),
		message.Length("reach", bagNearCM/100), message.Length("reach_far", bagFarCM/100)))
	return r
}

// setDensity of plain concrete, kg/m3 (common practice: 2300 to 2400).
const setDensity = 2300

// FinishedWeight returns the weight of a pad once it has set, from its volume
// in litres.
func FinishedWeight(volumeL float64) unit.Kilograms {
	return unit.Kilograms(volumeL * setDensity / 1000)
}

// TeamLift returns how many people lift a load together, each within
// LiftLimit: two manage two thirds of what they could lift one by one, three
// half (HSE, manual handling guidance L23, from memory). 0: more than three
// manage; it takes a lifting aid.
func TeamLift(load unit.Kilograms) int {
	for i, most := range [...]unit.Kilograms{LiftLimit, 2 * LiftLimit * 2 / 3, 3 * LiftLimit / 2} {
		if load <= most {
			return i + 1
		}
	}
	return 0
}

// PadWeightRule speaks of a finished pad's weight, for whoever moves it.
func PadWeightRule(pad unit.Kilograms) Rule {
	r := Rule{ID: "pad-weight", Severity: Note,
		SourceData: message.New(sourceTeams),
		Figure:     figure("finished_kg", float64(pad), float64(3*LiftLimit/2))}
	weight := message.Mass("pad", pad)
	switch n := TeamLift(pad); n {
	case 0:
		r.Data = says(message.New(RulePadHeavy, weight))
	case 1:
		r.Data = says(message.New(RulePadAlone, weight))
	default:
		r.Data = says(message.New(RulePadTeam, weight, message.Count("people", n)))
	}
	return r
}
