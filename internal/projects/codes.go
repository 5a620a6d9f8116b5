package projects

import "dryslot/internal/message"

// Codes of what the service refuses.
const (
	ProjectUnknown     message.Code = "project_unknown"
	sourceForecastRuns message.Code = "source_forecast_runs" // of the ages at which a forecast is called old
	EntryIDTaken       message.Code = "entry_id_taken"       // a rule of an entry's id
	NothingToTry       message.Code = "nothing_to_try"       // a what-if before the first forecast
	PlanNotMade        message.Code = "plan_not_made"
	ProjectsFull       message.Code = "projects_full" // max: a rule of a new project's name
	LogFull            message.Code = "log_full"
	PhotosFull         message.Code = "photos_full"   // max
	PhotoUnknown       message.Code = "photo_unknown" // a rule of an entry's photos
	PhotoShown         message.Code = "photo_shown"
	LogFullRule        message.Code = "log_full_rule" // max
	PadHasEntries      message.Code = "pad_has_entries"
	PadStays           message.Code = "pad_stays" // a rule of the pads of a project
	NoSuchEntryPad     message.Code = "no_such_entry_pad"
)
