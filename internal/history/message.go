package history

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/unit"
)

// Codes of the sentences beside that of an effect's own code.
const (
	// pad: an effect's own sentence where nothing is to be seen to
	RainSettingCovered message.Code = "rain_setting_covered"
	RainCameAfter      message.Code = "rain_came_after"      // rain_mm, age_min: since it was placed
	RainUnknownAfter   message.Code = "rain_unknown_after"   // age_min
	RainCamePlacing    message.Code = "rain_came_placing"    // rain_mm
	RainUnknownPlacing message.Code = "rain_unknown_placing" // how much fell is not known
	SetsFirst          message.Code = "sets_first"           // set_at: initial set
	SetsFirstGuess     message.Code = "sets_first_guess"     // set_at: the weather since placing is not held
	SetsFinal          message.Code = "sets_final"           // set_at: final set
	SetsFinalGuess     message.Code = "sets_final_guess"     // set_at
	RainSpoils         message.Code = "rain_spoils"          // limit_mm: within an hour
	RainIfOpen         message.Code = "rain_if_open"         // lost, had no cover lain over it
	RainIfHour         message.Code = "rain_if_hour"         // lost, had most come within one hour
	RainIfHourOpen     message.Code = "rain_if_hour_open"    // lost, had both been so
	RainUnfinished     message.Code = "rain_unfinished"      // the finish had not been closed
)

// Messages are what an effect says, one a sentence: what became of the pad and
// what to do first, then what it was concluded from.
func (f Effect) Messages() []message.Message {
	if f.Code == message.StoredText {
		return []message.Message{message.Stored(f.Pad + ": " + f.Stored.Why)}
	}
	first := message.New(f.Code, message.Name("pad", f.Pad))
	if f.Code == RainSettingAsked && !f.Inspect {
		first.Code = RainSettingCovered
	}
	out := []message.Message{first}
	if f.Code == InspectedBad {
		return out
	}
	x := f.Figures
	out = append(out, x.came())
	switch f.Code {
	case RainHalfPlaced, RainTooLittle:
		return out
	case RainAfterSet:
		return append(out, x.sets(!x.At.Before(x.FinalSet)))
	case RainSetting, RainSettingAsked:
		return append(out, x.sets(true))
	}
	if !x.InitialSet.IsZero() {
		out = append(out, x.sets(false))
	}
	return append(out, f.besides()...)
}

// came says how much fell, and when.
func (x Figures) came() message.Message {
	var figures []message.Figure
	code := RainUnknownAfter
	if x.RainMM != nil {
		code = RainCameAfter
		figures = append(figures, message.Depth("rain", unit.Millimetres(*x.RainMM)))
	}
	age := x.At.Sub(x.PlacedAt)
	switch {
	case x.PlacedAt.IsZero() || age < 0:
		code = map[message.Code]message.Code{RainCameAfter: RainCamePlacing, RainUnknownAfter: RainUnknownPlacing}[code]
	default:
		figures = append(figures, message.Duration("age", age.Round(time.Minute)))
	}
	return message.New(code, figures...)
}

// sets says when the pad sets.
func (x Figures) sets(final bool) message.Message {
	code, guess, at := SetsFirst, SetsFirstGuess, x.InitialSet
	if final {
		code, guess, at = SetsFinal, SetsFinalGuess, x.FinalSet
	}
	if !x.SetKnown {
		code = guess
	}
	return message.New(code, message.At("set", at))
}

// besides returns what else decides whether rain harmed a pad: the limit, an
// unfinished face, or a cover that is not known of.
func (f Effect) besides() []message.Message {
	x := f.Figures
	switch {
	case f.Code == RainLost:
		return []message.Message{message.New(RainSpoils, message.Depth("limit", unit.Millimetres(x.LimitMM)))}
	case f.Code == RainSoft && !x.Finished:
		return []message.Message{message.New(RainUnfinished)}
	case f.Code != RainSoftUnsure || x.RainMM == nil:
		return nil
	case x.Covered != Unknown:
		return []message.Message{message.New(RainIfHour)}
	case x.LeastMM == nil || *x.LeastMM < x.LimitMM:
		return []message.Message{message.New(RainIfHourOpen)}
	}
	return []message.Message{message.New(RainIfOpen)}
}

// Message is a question before it is worded.
func (q Question) Message() message.Message {
	figures := []message.Figure{message.Names("pads", q.Pads)}
	if !q.At.IsZero() {
		figures = append(figures, message.At("", q.At))
	}
	return message.New(q.Ask, figures...)
}
