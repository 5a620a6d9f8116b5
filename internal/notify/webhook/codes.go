package webhook

import "dryslot/internal/message"

// Codes of why a webhook was not delivered.
const (
	AddressBad message.Code = "webhook_address_bad"
	SecretBad  message.Code = "webhook_secret_bad"
	Private    message.Code = "webhook_private" // the address is private or loopback
	Silent     message.Code = "webhook_silent"
	Gone       message.Code = "webhook_gone"       // 410
	Answered   message.Code = "webhook_answered"   // status
	Redirected message.Code = "webhook_redirected" // status
)
