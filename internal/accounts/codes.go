package accounts

import (
	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// Codes of what goes wrong; package say words them.
const (
	TooOften     message.Code = "sign_in_too_often"
	TokenUnknown message.Code = "sign_in_token_unknown"
	LinkSpent    message.Code = "sign_in_link_spent"
	TokenRefused message.Code = "token_refused"
	TooManyToken message.Code = "token_too_many"
	NoToken      message.Code = "token_not_there"
	NoSession    message.Code = "session_not_there"
)

// ErrLinkSpent says that a link can't be used: it was, has expired or never was.
func ErrLinkSpent() error {
	return fault.Of(fault.Forbidden, LinkSpent)
}
