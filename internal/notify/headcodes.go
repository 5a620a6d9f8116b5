package notify

import "dryslot/internal/message"

// Codes of the sentences that a page opens with. Each carries the figures named beside it.
const (
	HeadWaiting            message.Code = "head_waiting"              // date
	HeadHold               message.Code = "head_hold"                 // date
	HeadNothing            message.Code = "head_nothing"              // date
	HeadPour               message.Code = "head_pour"                 // pads, date
	HeadCare               message.Code = "head_care"                 // pads, date
	BetterDayPour          message.Code = "better_day_pour"           // date
	BetterDayPourChance    message.Code = "better_day_pour_chance"    // date, chance
	BetterChangePour       message.Code = "better_change_pour"        // change
	BetterChangePourChance message.Code = "better_change_pour_chance" // change, chance
	BetterDayCare          message.Code = "better_day_care"           // date
	BetterDayCareChance    message.Code = "better_day_care_chance"    // date, chance
	BetterChangeCare       message.Code = "better_change_care"        // change
	BetterChangeCareChance message.Code = "better_change_care_chance" // change, chance
	BetterDayHold          message.Code = "better_day_hold"           // date
	BetterDayHoldChance    message.Code = "better_day_hold_chance"    // date, chance
	BetterChangeHold       message.Code = "better_change_hold"        // change
	BetterChangeHoldChance message.Code = "better_change_hold_chance" // change, chance
)
