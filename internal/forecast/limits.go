package forecast

import "strconv"

// Limits are a provider's stated limits on one client, and what one of our
// requests counts for. Zero is no stated limit. They are kept across all
// workers by whoever schedules the fetching.
type Limits struct {
	AtOnce    int     // requests at the same time from one address
	PerMinute int     // request weights in a minute
	PerHour   int     // in an hour
	PerDay    int     // in a day
	Weight    float64 // what fetching one cell counts for
}

// span is a closed range of believable values.
type span struct{ lo, hi float64 }

// ranges bound what a feed may say. They refuse nonsense (a wrong unit, a
// shifted column, a sentinel such as -9999), not rare weather. Temperature,
// gust and rain are a little beyond the records of the WMO World Weather and
// Climate Extremes Archive (-89.2 and 56.7 C, 113 m/s; rain 401 mm in an
// hour), which are from memory; shortwave is a little beyond the solar
// constant of 1361 W/m2 (Kopp and Lean 2011), which broken cloud can
// reach at the ground for moments only.
var ranges = [NumVariables]span{
	AirC:          {-95, 62},
	HumidityPct:   {0, 100},
	DewPointC:     {-110, 40},
	WindMS:        {0, 115},
	GustMS:        {0, 140},
	CloudPct:      {0, 100},
	ShortwaveWM2:  {0, 1500},
	RainMM:        {0, 450},
	RainChance:    {0, 1},
	ThunderChance: {0, 1},
	SnowMM:        {0, 450},
}

// Range returns the least and greatest value that is believed of a variable,
// in the variable's own unit.
func (v Variable) Range() (lo, hi float64) { return ranges[v].lo, ranges[v].hi }

// String returns the variable's name in the public contract.
func (v Variable) String() string {
	if v < NumVariables {
		return Names[v]
	}
	return "variable " + strconv.Itoa(int(v))
}
