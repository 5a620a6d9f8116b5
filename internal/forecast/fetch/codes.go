package fetch

import "dryslot/internal/message"

// Codes of why a feed gave nothing. Each carries feed.
const (
	NoAnswer      message.Code = "feed_no_answer"
	BrokeOff      message.Code = "feed_broke_off"
	Refused       message.Code = "feed_refused"        // status
	RefusedSaying message.Code = "feed_refused_saying" // status, reason: the provider's own words
	WantsContact  message.Code = "feed_wants_contact"  // status
)
