package email

import "dryslot/internal/message"

// Codes of why mail was not delivered.
const (
	AddressBad message.Code = "mail_address_bad"
	Unreached  message.Code = "mail_unreached"
	NotTaken   message.Code = "mail_not_taken"
	Refused    message.Code = "mail_refused" // the recipient, for good
)
