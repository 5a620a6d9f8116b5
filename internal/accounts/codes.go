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
	NoPasskey    message.Code = "passkey_not_there"
	NoMail       message.Code = "sign_in_no_mail"
	MailTooOften message.Code = "sign_in_mail_too_often"
	MailTaken    message.Code = "account_mail_taken"
	SignInFirst  message.Code = "sign_in_first"

	PasskeysOff     message.Code = "passkeys_off" // address
	PasskeyUnknown  message.Code = "passkey_unknown"
	PasskeyLate     message.Code = "passkey_late"
	PasskeyCopied   message.Code = "passkey_copied"
	PasskeyKnown    message.Code = "passkey_known"
	PasskeyRefused  message.Code = "passkey_refused"
	TooManyPasskeys message.Code = "passkey_too_many"

	NoMember           message.Code = "member_not_there"
	TooManyMembers     message.Code = "member_too_many"
	NoInvitation       message.Code = "invitation_not_there"
	InvitationSpent    message.Code = "invitation_spent"
	InvitationRefused  message.Code = "invitation_refused"
	TooManyInvitations message.Code = "invitation_too_many"
	JoinRefused        message.Code = "join_refused"
	JoinOwn            message.Code = "join_own"
	NotConfirmed       message.Code = "account_not_confirmed"
	AccountNameWanted  message.Code = "rule_account_name"

	RoleTooLow message.Code = "role_too_low" // needed_term, is_term
)

// ErrLinkSpent says that a link can't be used: it was, has expired or never was.
func ErrLinkSpent() error {
	return fault.Of(fault.Forbidden, LinkSpent)
}
