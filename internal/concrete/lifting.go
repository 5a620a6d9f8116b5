package concrete

import (
	"fmt"
	"math"

	"dryslot/internal/unit"
)

// LiftLimit is the most that one person should lift under the best of
// conditions: 23 kg, 51 lb (NIOSH lifting equation of 1991, from memory).
const LiftLimit unit.Kilograms = 51 * unit.KilogramsPerPound

// Lift is how a load is lifted.
type Lift struct {
	HandsOutIn float64 // horizontal distance of the hands from the ankles, inches; 10 or less is best
	FromIn     float64 // height of the hands at the start, inches; 30 is best
	TravelIn   float64 // how far up or down the load travels, inches; 10 or less is best
	TwistDeg   float64 // turning of the trunk, degrees
	Frequency  float64 // multiplier for how often and how long, 0 to 1; 0 stands for 1
	Grip       float64 // multiplier for the grip, 0.9 to 1; 0 stands for 1
}

// bestLift is a lift at knuckle height, close to the body, once in a while.
var bestLift = Lift{HandsOutIn: 10, FromIn: 30, TravelIn: 10}

// LiftWeight returns the recommended weight limit of a lift (NIOSH lifting
// equation of 1991, US form, from memory):
//
//	51 lb x 10/H x (1 - 0.0075 |V-30|) x (0.82 + 1.8/D) x (1 - 0.0032 A) x FM x CM
func LiftWeight(l Lift) unit.Kilograms {
	or1 := func(v float64) float64 {
		if v == 0 {
			return 1
		}
		return v
	}
	h := 10 / math.Max(10, l.HandsOutIn)
	v := math.Max(0, 1-0.0075*math.Abs(l.FromIn-30))
	d := math.Min(1, 0.82+1.8/math.Max(10, l.TravelIn))
	a := math.Max(0, 1-0.0032*l.TwistDeg)
	return LiftLimit * unit.Kilograms(h*v*d*a*or1(l.Frequency)*or1(l.Grip))
}

// LiftingIndex returns a bag's weight over the limit for the best lift there
// is. Above 1 the bag is heavy for some people however it is lifted; real
// lifts, from the ground or with a twist, come out higher.
func LiftingIndex(bag unit.Kilograms) float64 { return float64(bag / LiftWeight(bestLift)) }

// LiftRule speaks of a bag whose lifting index is above 1, and returns nil
// for a lighter one.
func LiftRule(bag unit.Kilograms) *Rule {
	index := LiftingIndex(bag)
	if index <= 1 {
		return nil
	}
	return &Rule{ID: "heavy-bags", Severity: Note, Source: "NIOSH lifting equation, 1991 (from memory)", Figure: figure("lifting_index", index, 1),
		Text: fmt.Sprintf("A bag is %.1f times what one person should lift even close to the body: lift in pairs, open bags where they lie, or buy smaller ones.", index)}
}
