package fetching

import (
	"errors"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// Codes of why a cell has no new forecast. Those of one feed carry feed.
const (
	NoFeed           message.Code = "no_feed"
	NoShortFeed      message.Code = "no_short_feed" // none has a short-range product
	ForecastUnusable message.Code = "forecast_unusable"
	FeedUnusable     message.Code = "feed_unusable" // its document
	FeedNotHere      message.Code = "feed_not_here" // it has no forecast of this place
	FeedFails        message.Code = "feed_fails"
	FeedPaused       message.Code = "feed_paused"  // failures, until_at
	FeedProbed       message.Code = "feed_probed"  // one request tries whether it is back
	FeedBusy         message.Code = "feed_busy"    // as many requests at once as it takes
	FeedUsedUp       message.Code = "feed_used_up" // max, period_term: the provider's limit
	FeedNoSlot       message.Code = "feed_no_slot" // as many requests at once from here as it takes
)

// Trouble is why a cell has no newer forecast: a message of each feed that
// gave none.
type Trouble struct {
	Text string // English, for operators; what the version before shows
	Data []message.Message
}

func (t Trouble) String() string { return t.Text }

// whyNot is the message of why a feed gave nothing.
func whyNot(feed string, err error) message.Message {
	var e *fault.Error
	if errors.As(err, &e) && e.Worded() {
		return e.Message
	}
	if feed == "" {
		return message.New(ForecastUnusable)
	}
	code := FeedFails
	switch fault.KindOf(err) {
	case fault.NotFound:
		code = FeedNotHere
	case fault.Invalid, fault.Unreadable:
		code = FeedUnusable
	}
	return message.New(code, message.Name("feed", feed))
}
