package learn

import (
	"dryslot/internal/concrete"
)

// Predict says what is expected of one casting under the weather that it
// had, with the handbook's setting times whatever was learned before. ok is
// false where the weather given ends too early or lacks what is needed.
func Predict(pad string, c concrete.Casting) (p Predicted, ok bool) {
	c.Mix.SetFactor = 1
	b := concrete.Behave(c)
	if b.Unknown || b.FinishFrom == concrete.Never || b.FinishUntil == concrete.Never {
		return Predicted{}, false
	}
	return Predicted{Pad: pad, PlacedAt: c.Placed, FinishFrom: b.FinishFrom, FinishUntil: b.FinishUntil}, true
}
