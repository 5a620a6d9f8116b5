package view

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/planner/harm"
)

// limits is what a pour is held against, each with its source. The figures are
// those that the planner and the concrete's rules use.
func (s Setting) limits() []LimitLine {
	var out []LimitLine
	for _, l := range []struct {
		what   message.Code
		limit  message.Message
		source message.Code
	}{
		{LimitRainLosesWhat, message.New(LimitRainLoses, message.Depth("limit", harm.ModerateMM)),
			LimitRainLosesSource},
		{LimitRainMarksWhat, message.New(LimitRainMarks, message.Depth("limit", harm.LightMM)), LimitRainMarksSource},
		{LimitRainCoveredWhat, message.New(LimitRainCovered, message.Depth("limit", harm.HeavyMM)),
			LimitRainCoveredSource},
		{LimitSoftWhat, message.New(LimitSoft), LimitSoftSource},
		{LimitFinishingWhat, message.New(LimitFinishing), LimitFinishingSource},
		{LimitStrippingWhat, message.New(LimitStripping, message.Strength("limit", 2), message.Temperature("warm", 10)),
			LimitStrippingSource},
		{LimitFrostWhat, message.New(LimitFrost, message.Strength("limit", 3.5), message.Temperature("warm", 20),
			message.Strength("wet", 7)), LimitFrostSource},
		{LimitDryingWhat, message.New(LimitDrying, message.Evaporation("watch", 0.5), message.Evaporation("act", 1)),
			LimitDryingSource},
		{LimitColdPlacingWhat, message.New(LimitColdPlacing, message.Temperature("limit", 13),
			message.Length("thick", 0.3)), LimitColdPlacingSource},
		{LimitHotPlacingWhat, message.New(LimitHotPlacing, message.Temperature("limit", 35)), LimitHotPlacingSource},
		{LimitHotWaterWhat, message.New(LimitHotWater, message.Temperature("limit", 60)), LimitHotWaterSource},
		{LimitForecastAgeWhat, message.New(LimitForecastAge, message.Duration("care", 360*time.Minute),
			message.Duration("hold", 1440*time.Minute)), LimitForecastAgeSource},
	} {
		out = append(out, LimitLine{Limit: s.say(LimitRow, message.Text("what", s.say(l.what)),
			message.Text("limit", s.Reader.Say(l.limit))), Source: s.say(l.source)})
	}
	return out
}
