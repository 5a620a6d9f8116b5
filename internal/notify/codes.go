package notify

import "dryslot/internal/message"

// Codes of a subject, which begin in lower case: one may follow another. Those
// of a pour carry date, start_at and pads; the ones that end in _of carry count
// in place of pads.
const (
	SubjectTest    message.Code = "subject_test" // project
	SubjectSample  message.Code = "subject_sample"
	SubjectChanged message.Code = "subject_changed"
	SubjectPour    message.Code = "subject_pour"
	SubjectPourOf  message.Code = "subject_pour_of"
	SubjectCare    message.Code = "subject_care"
	SubjectCareOf  message.Code = "subject_care_of"
	SubjectNothing message.Code = "subject_nothing" // date
	SubjectHold    message.Code = "subject_hold"    // date
	SubjectProject message.Code = "subject_project" // project
)

// Codes of an alert's text.
const (
	AlertTest           message.Code = "alert_test" // project, evening_clock, lead_min, quiet_clock
	AlertPour           message.Code = "alert_pour" // date, start_at, pads
	AlertPourOf         message.Code = "alert_pour_of"
	AlertCare           message.Code = "alert_care"
	AlertCareOf         message.Code = "alert_care_of"
	AlertNothing        message.Code = "alert_nothing"       // date
	AlertHold           message.Code = "alert_hold"          // date
	AlertReplacesHold   message.Code = "alert_replaces_hold" // told_at
	AlertReplacesPour   message.Code = "alert_replaces_pour" // told_at, start_at, pads
	AlertReplacesPourOf message.Code = "alert_replaces_pour_of"
	AlertOrder          message.Code = "alert_order"       // the pads are named in order already
	AlertOrderOf        message.Code = "alert_order_of"    // pads
	AlertPlacedDone     message.Code = "alert_placed_done" // placed_at, done_at
	AlertDone           message.Code = "alert_done"        // done_at
	AlertLatest         message.Code = "alert_latest"      // latest_at
	// Wet cement burns skin and eyes, and its dust scars lungs (OSHA, quoted
	// with the cautions for people): what to wear goes with what to bring.
	AlertBring         message.Code = "alert_bring"      // bags, water_l
	AlertBringBags     message.Code = "alert_bring_bags" // bags
	AlertCover         message.Code = "alert_cover"      // cover
	AlertNext          message.Code = "alert_next"       // date, count, start_at
	AlertLate          message.Code = "alert_late"       // due_at
	AlertWatch         message.Code = "alert_watch"
	AlertAgainst       message.Code = "alert_against"
	AlertMore          message.Code = "alert_more"      // count: cautions that only the page gives
	AlertWhy           message.Code = "alert_why"       // why
	AlertMainRisk      message.Code = "alert_main_risk" // why
	AlertChance        message.Code = "alert_chance"    // chance
	AlertEstimates     message.Code = "alert_estimates"
	AlertSampleWeather message.Code = "alert_sample_weather"
	AlertSetClock      message.Code = "alert_set_clock"
	AlertForecast      message.Code = "alert_forecast" // feed, age_min
	AlertMembers       message.Code = "alert_members"  // feed, age_min, members
	AlertNoForecast    message.Code = "alert_no_forecast"
)

// counting is the message with a count in place of names.
func counting(code message.Code) message.Code { return code + "_of" }
