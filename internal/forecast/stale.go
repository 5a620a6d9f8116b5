package forecast

import "time"

// Trust is how far a forecast may be relied on for its age alone.
type Trust uint8

// The grades of trust, from the best.
const (
	Fresh Trust = iota // the verdict stands
	Aged               // lowers the verdict to care, and says so
	Old                // lowers the verdict to hold, and says so
)

// Ages beyond which trust falls. They are the service's own rule (a judgement):
// a global model is run four times a day, so that a forecast older than 6 h has
// been overtaken, and one older than a day has missed four.
const (
	AgedAfter = 6 * time.Hour
	OldAfter  = 24 * time.Hour
)

// TrustAt returns how far the forecast may be relied on at now, and its age:
// since it was issued, where the document says when, else since it was
// fetched. A forecast without a source is Old; one from the future, as clocks
// that differ make it, has age zero.
func (f *Forecast) TrustAt(now time.Time) (Trust, time.Duration) {
	from := f.AgedFrom()
	if from.IsZero() {
		return Old, 0
	}
	age := max(now.Sub(from), 0)
	switch {
	case age > OldAfter:
		return Old, age
	case age > AgedAfter:
		return Aged, age
	}
	return Fresh, age
}
