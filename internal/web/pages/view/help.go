package view

import (
	"slices"

	"dryslot/internal/message"
)

// Codes of the trade's words, each with what it means.
const (
	helpPlaceWord     message.Code = "help_place_word"
	helpPlace         message.Code = "help_place"
	helpStrikeWord    message.Code = "help_strike_word"
	helpStrike        message.Code = "help_strike"
	helpSheenWord     message.Code = "help_sheen_word"
	helpSheen         message.Code = "help_sheen"
	helpFinishWord    message.Code = "help_finish_word"
	helpFinish        message.Code = "help_finish"
	helpSoftWord      message.Code = "help_soft_word"
	helpSoft          message.Code = "help_soft"
	helpSetWord       message.Code = "help_set_word"
	helpSet           message.Code = "help_set"
	helpStripWord     message.Code = "help_strip_word"
	helpStrip         message.Code = "help_strip"
	helpDampWord      message.Code = "help_damp_word"
	helpDamp          message.Code = "help_damp"
	helpFrostWord     message.Code = "help_frost_word"
	helpFrost         message.Code = "help_frost"
	helpDryingWord    message.Code = "help_drying_word"
	helpDrying        message.Code = "help_drying"
	helpSurviveWord   message.Code = "help_survive_word"
	helpSurvive       message.Code = "help_survive"
	helpCareWord      message.Code = "help_care_word"
	helpCare          message.Code = "help_care"
	helpGangWord      message.Code = "help_gang_word"
	helpGang          message.Code = "help_gang"
	helpYieldWord     message.Code = "help_yield_word"
	helpYield         message.Code = "help_yield"
	helpThickEdgeWord message.Code = "help_thick_edge_word"
	helpThickEdge     message.Code = "help_thick_edge"
)

// HelpLine is a word of the trade and what it means.
type HelpLine struct{ Word, Text string }

// helpLines are all the words, in the order of the work.
func helpLines() [][2]message.Code {
	return [][2]message.Code{{helpSurviveWord, helpSurvive}, {helpCareWord, helpCare}, {helpGangWord, helpGang},
		{helpThickEdgeWord, helpThickEdge}, {helpYieldWord, helpYield}, {helpPlaceWord, helpPlace},
		{helpStrikeWord, helpStrike},
		{helpSoftWord, helpSoft}, {helpSheenWord, helpSheen}, {helpFinishWord, helpFinish}, {helpSetWord, helpSet},
		{helpDryingWord, helpDrying}, {helpFrostWord, helpFrost}, {helpDampWord, helpDamp}, {helpStripWord, helpStrip}}
}

// helpFuncs has the templates ask for the words of their page, or for all.
func helpFuncs(label func(message.Code) string) func(page string) []HelpLine {
	return func(page string) []HelpLine {
		var out []HelpLine
		for _, l := range helpLines() {
			if wanted := helpOf(page); wanted == nil || slices.Contains(wanted, l[1]) {
				out = append(out, HelpLine{label(l[0]), label(l[1])})
			}
		}
		return out
	}
}

// helpOf are the words that a page uses, by its template; nil: it shows all.
func helpOf(page string) []message.Code {
	return map[string][]message.Code{
		"day":     {helpSurvive, helpCare, helpSoft, helpSheen, helpFinish, helpDrying, helpFrost},
		"live":    {helpPlace, helpStrike, helpSheen, helpFinish, helpSoft, helpDamp, helpStrip},
		"cover":   {helpSoft, helpSheen, helpSet},
		"pads":    {helpPlace, helpSoft, helpFinish, helpSet, helpStrip, helpDamp},
		"pad":     {helpFinish, helpSet, helpStrip, helpDamp, helpFrost, helpSurvive},
		"jobform": {helpGang, helpThickEdge, helpYield, helpStrip, helpDrying},
	}[page]
}
