package forecast

// Latitudes that the two records stand for: the mean of their stations.
const (
	newYorkLatitude = 40.7
	irelandLatitude = 53.4
)

var newYorkRecords = records{
	lag1: 0.43,
	wet:  [4]float64{0.098, 0.071, 0.067, 0.032},
	rain: [4]Amounts{{0.780, 0.700}, {0.594, 0.583}, {1.424, 0.635}, {0.859, 0.563}},
}

var irelandRecords = records{
	lag1: 0.35,
	wet:  [4]float64{0.160, 0.107, 0.137, 0.177},
	rain: [4]Amounts{{0.267, 0.618}, {0.334, 0.643}, {0.319, 0.571}, {0.251, 0.554}},
}

const (
	amountTrust  = 0.5
	trustHours   = 72.0
	runWetChance = 0.7
	runDryChance = 0.3
)

func latentOf(lag1 float64) (fastPhi, slowShare float64) { return 0.65, 0.3 }
