package web

import (
	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// Codes of problems that any route may answer.
const (
	RequestGivenUp  message.Code = "request_given_up"
	RequestRefused  message.Code = "request_refused"
	InternalError   message.Code = "internal_error"
	NotReady        message.Code = "not_ready"
	NoRoute         message.Code = "no_route"
	NoPage          message.Code = "no_page"
	WrongMethod     message.Code = "wrong_method"
	TooManyRequests message.Code = "too_many_requests"
	ServiceStopping message.Code = "service_stopping"
	TooManyAtOnce   message.Code = "too_many_at_once"

	KindNotFound    message.Code = "kind_not_found"
	KindUnreadable  message.Code = "kind_unreadable"
	KindInvalid     message.Code = "kind_invalid"
	KindConflict    message.Code = "kind_conflict"
	KindForbidden   message.Code = "kind_forbidden"
	KindUnavailable message.Code = "kind_unavailable"
	KindStale       message.Code = "kind_stale"
	KindTooMany     message.Code = "kind_too_many"
)

// Codes of rules that any route may have.
const (
	RouteWanted  message.Code = "route_wanted"
	MethodWanted message.Code = "method_wanted" // allowed
	MediaType    message.Code = "media_type"    // allowed
	BytesMost    message.Code = "bytes_most"    // max
	FieldRefused message.Code = "field_refused"
)

// kindCodes word an error of which a person sees the kind only.
var kindCodes = map[fault.Kind]message.Code{
	fault.NotFound: KindNotFound, fault.Unreadable: KindUnreadable, fault.Invalid: KindInvalid,
	fault.Conflict: KindConflict, fault.Forbidden: KindForbidden, fault.Unavailable: KindUnavailable,
	fault.Stale: KindStale, fault.TooMany: KindTooMany,
}
