package api

import "dryslot/internal/message"

// Codes of what the API refuses.
const (
	TokenNeeded       message.Code = "token_needed"
	BodyTooLong       message.Code = "body_too_long"
	BodyBrokeOff      message.Code = "body_broke_off"
	BodyType          message.Code = "body_type"
	HeaderBreaksRule  message.Code = "header_breaks_rule"
	QueryBreaksRule   message.Code = "query_breaks_rule"
	QueryUnreadable   message.Code = "query_unreadable"
	AnswerNotKept     message.Code = "answer_not_kept"
	KeyInUse          message.Code = "key_in_use"
	KeyOtherBody      message.Code = "key_other_body"
	CalendarUnknown   message.Code = "calendar_unknown"
	MorningUnknown    message.Code = "morning_unknown"
	PlanUnknown       message.Code = "plan_unknown"
	VersionBreaksRule message.Code = "version_breaks_rule"
	WhatIfBreaksRule  message.Code = "what_if_breaks_rule"
	PatchUnreadable   message.Code = "patch_unreadable"
	PatchReadOnly     message.Code = "patch_read_only"
	ETagNeeded        message.Code = "etag_needed"
	ProjectChanged    message.Code = "project_changed"
)

// Codes of rules that only the API has.
const (
	AuthorizationOnce message.Code = "authorization_once"
	BearerWanted      message.Code = "bearer_wanted"
	TokenWanted       message.Code = "token_wanted"
	KeyForm           message.Code = "key_form" // max
	KeyNotTaken       message.Code = "key_not_taken"
	TokenID           message.Code = "token_id"
	SessionID         message.Code = "session_id"
	MemberID          message.Code = "member_id"
	InvitationID      message.Code = "invitation_id"
	KeyFree           message.Code = "key_free"
	KeySameBody       message.Code = "key_same_body"
	QueryForm         message.Code = "query_form"
	ParameterUnknown  message.Code = "parameter_unknown"
	CalendarKeyNeeded message.Code = "calendar_key_needed"
	CalendarKey       message.Code = "calendar_key"
	DateComing        message.Code = "date_coming"
	DateRange         message.Code = "date_range" // first_date, last_date
	DateForm          message.Code = "date_form"
	PlanVersion       message.Code = "plan_version"
	NotBeside         message.Code = "not_beside" // other
	ReadOnly          message.Code = "read_only"
	ETagRequired      message.Code = "etag_required"
	ETagNow           message.Code = "etag_now" // etag
	ProjectID         message.Code = "project_id"
	RecipientID       message.Code = "recipient_id"
)
