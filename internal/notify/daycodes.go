package notify

import "dryslot/internal/message"

// Codes of the subjects of the day's own alerts.
const (
	SubjectRain       message.Code = "subject_rain"    // pads
	SubjectRainOf     message.Code = "subject_rain_of" // count in place of pads
	SubjectStop       message.Code = "subject_stop"    // nothing more is placed for now
	SubjectLater      message.Code = "subject_later"   // the day begins later
	SubjectResume     message.Code = "subject_resume"
	SubjectResumeOf   message.Code = "subject_resume_of" // count in place of pads
	SubjectNotStarted message.Code = "subject_not_started"
	SubjectThunder    message.Code = "subject_thunder"
	SubjectGust       message.Code = "subject_gust"       // pads
	SubjectGustOf     message.Code = "subject_gust_of"    // count in place of pads
	SubjectDrying     message.Code = "subject_drying"     // pads
	SubjectDryingOf   message.Code = "subject_drying_of"  // count in place of pads
	SubjectEarlier    message.Code = "subject_earlier"    // pads, from_at
	SubjectEarlierOf  message.Code = "subject_earlier_of" // count in place of pads
	SubjectReady      message.Code = "subject_ready"      // pads
	SubjectReadyOf    message.Code = "subject_ready_of"   // count in place of pads
	SubjectDusk       message.Code = "subject_dusk"       // pads
	SubjectDuskOf     message.Code = "subject_dusk_of"    // count in place of pads
	SubjectCaring     message.Code = "subject_caring"     // pads: strip, uncover, keep damp
	SubjectCaringOf   message.Code = "subject_caring_of"  // count in place of pads
)

// Codes of the texts that are not those of package today.
const (
	DayNotStarted message.Code = "day_not_started" // start_at, latest_at
	DayDusk       message.Code = "day_dusk"        // pads, chance, dark_at
	DayStrip      message.Code = "day_strip"       // pads, from_at
	DayUncover    message.Code = "day_uncover"     // pads, from_at
	DayDamp       message.Code = "day_damp"        // pads, until_at
	DayAgain      message.Code = "day_again"       // count: how often it was sent before
	DayAlso       message.Code = "day_also"        // what pads of days before ask for
	DayQuestions  message.Code = "day_questions"   // what the log leaves open
)

// Codes of what is tapped to answer.
const (
	ActionCovered   message.Code = "action_covered"
	ActionRains     message.Code = "action_rains"
	ActionRainOver  message.Code = "action_rain_over"
	ActionStarted   message.Code = "action_started"
	ActionNotToday  message.Code = "action_not_today"
	ActionFinished  message.Code = "action_finished"
	ActionBlankets  message.Code = "action_blankets"
	ActionStripped  message.Code = "action_stripped"
	ActionUncovered message.Code = "action_uncovered"
)
