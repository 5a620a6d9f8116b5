package view

import "dryslot/internal/message"

// Codes of what is asked of the mix beside the bag, and of what the crew does to the
// base, against drying and to cure.
const (
	JobAdded          message.Code = "job_added"
	JobAdmixture      message.Code = "job_admixture"
	JobWaterUsed      message.Code = "job_water_used"
	JobWaterUsedHint  message.Code = "job_water_used_hint"
	JobSlump          message.Code = "job_slump"
	JobSlumpHint      message.Code = "job_slump_hint"
	JobLabelSet       message.Code = "job_label_set"
	JobLabelWalk      message.Code = "job_label_walk"
	JobLabelHint      message.Code = "job_label_hint"
	JobPractice       message.Code = "job_practice"
	JobBaseCover      message.Code = "job_base_cover"
	JobGuards         message.Code = "job_guards"
	JobCuring         message.Code = "job_curing"
	JobCuringDays     message.Code = "job_curing_days"
	JobCuringDaysHint message.Code = "job_curing_days_hint"
	JobShadeHours     message.Code = "job_shade_hours"
	JobShadeHoursHint message.Code = "job_shade_hours_hint"

	ChoiceNothing     message.Code = "choice_nothing"
	ChoiceRetarder    message.Code = "choice_retarder"
	ChoiceAccelerator message.Code = "choice_accelerator"
	ChoicePlastic     message.Code = "choice_plastic"
	ChoiceBlanket     message.Code = "choice_blanket"
	ChoiceCureCover   message.Code = "choice_cure_cover"
	ChoiceCureSpray   message.Code = "choice_cure_spray"
	ChoiceCureWet     message.Code = "choice_cure_wet"
	ChoiceWetBase     message.Code = "choice_wet_base"
	ChoiceWindbreak   message.Code = "choice_windbreak"
	ChoiceShadeNet    message.Code = "choice_shade_net"
	ChoiceFilm        message.Code = "choice_film"
	ChoiceFog         message.Code = "choice_fog"
)

func (b jobBuilder) as(value string, words message.Code) Choice {
	return Choice{Value: value, Words: b.r.Label(words)}
}

// added asks what goes into the drum beside the bag and the label's water.
func (b jobBuilder) added() Block {
	return Block{Folded: b.r.Label(JobAdded), Lines: []Line{
		{"", []Field{b.choice("admixture", JobAdmixture, b.as("none", ChoiceNothing), b.as("retarder", ChoiceRetarder),
			b.as("accelerator", ChoiceAccelerator))}},
		{"duo", []Field{b.hinted(b.text("water_used", JobWaterUsed), JobWaterUsedHint),
			b.hinted(b.text("slump", JobSlump), JobSlumpHint)}},
		{"duo", []Field{b.hinted(b.figure("label_set", JobLabelSet), JobLabelHint),
			b.hinted(b.figure("label_walk", JobLabelWalk), JobLabelHint)}}}}
}

// practice asks what the crew does to the base, against drying and to cure.
func (b jobBuilder) practice() Block {
	guards := b.choice("guard", JobGuards, b.as("base_wetted", ChoiceWetBase), b.as("windbreak", ChoiceWindbreak),
		b.as("shade_net", ChoiceShadeNet), b.as("evaporation_film", ChoiceFilm), b.as("fogging", ChoiceFog))
	guards.Many = true
	return Block{Folded: b.r.Label(JobPractice), Lines: []Line{
		{"", []Field{b.choice("base_cover", JobBaseCover, b.as("none", ChoiceNothing), b.as("plastic", ChoicePlastic),
			b.as("blanket", ChoiceBlanket))}},
		{"", []Field{guards}},
		{"", []Field{b.choice("curing", JobCuring, b.as("cover", ChoiceCureCover), b.as("compound", ChoiceCureSpray),
			b.as("wet", ChoiceCureWet), b.as("none", ChoiceNothing))}},
		{"", []Field{b.hinted(b.figure("curing_days", JobCuringDays), JobCuringDaysHint)}}}}
}
