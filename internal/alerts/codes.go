package alerts

import (
	"errors"
	"strings"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// Codes of what the service refuses.
const (
	RecipientUnknown message.Code = "recipient_unknown"
	RecipientRefused message.Code = "recipient_refused"
	RecipientsFull   message.Code = "recipients_full" // max: a rule of a recipient's address
)

// Codes of why an alert was not delivered.
const (
	DeliveryOvertaken message.Code = "delivery_overtaken"  // tries
	DeliveryExpired   message.Code = "delivery_expired"    // tries: what it says no longer holds
	DeliveryTooLate   message.Code = "delivery_too_late"   // tries
	DeliveryLateWhy   message.Code = "delivery_late_why"   // tries, why
	DeliveryTriesOut  message.Code = "delivery_tries_out"  // tries, why
	DeliveryMissed    message.Code = "delivery_missed"     // due_at
	DeliveryRemoved   message.Code = "delivery_removed"    // the recipient
	DeliveryStopped   message.Code = "delivery_stopped"    // by its reader
	DeliveryNoChannel message.Code = "delivery_no_channel" // kind_term
	DeliveryNotTaken  message.Code = "delivery_not_taken"
	DeliveryNotYet    message.Code = "delivery_not_yet"
)

// Reason is why an alert was not delivered.
type Reason struct {
	Text string // English, for operators; what the version before shows
	Data message.Message
}

func (r Reason) String() string { return r.Text }

// reasonOf is why a try failed.
func reasonOf(err error) Reason {
	const most = 300
	r := Reason{Text: strings.TrimPrefix(err.Error(), string(fault.KindOf(err))+": "),
		Data: message.New(DeliveryNotTaken)}
	if len(r.Text) > most {
		r.Text = strings.ToValidUTF8(r.Text[:most], "") + "..."
	}
	var e *fault.Error
	if errors.As(err, &e) && e.Worded() {
		r.Data = e.Message
	}
	return r
}

// coded is a reason that is a code alone.
func coded(m message.Message) Reason { return Reason{m.String(), m} }

// after is a reason that ends the tries, with what the last one failed of.
func (r Reason) after(code message.Code, tries int) Reason {
	return Reason{string(code) + ": " + r.Text, message.New(code, message.Count("tries", tries),
		message.Within("why", r.Data))}
}
