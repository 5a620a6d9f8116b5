package forecast

// Kept is a forecast as it is stored.
type Kept struct {
	ID            int64
	Forecast      Forecast
	Recalibration *Recalibration // learned by then, to draw scenarios with; nil: none
}

// SampleFeed is the name of the feed whose weather is invented.
const SampleFeed = "replay"
