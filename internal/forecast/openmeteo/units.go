package openmeteo

import (
	"strings"

	"dryslot/internal/forecast"
	"dryslot/internal/unit"
)

// quantity is one kind of column.
type quantity uint8

const (
	temperature quantity = iota
	humidity
	dewPoint
	precipitation
	chance
	snowfall
	weatherCode
	cloud
	wind
	gusts
	shortwave
)

// quantities are the columns by their names: those of the current service,
// which are asked for, and the older ones, which servers of one's own still give.
var quantities = map[string]quantity{
	"temperature_2m":            temperature,
	"relative_humidity_2m":      humidity,
	"relativehumidity_2m":       humidity,
	"dew_point_2m":              dewPoint,
	"dewpoint_2m":               dewPoint,
	"precipitation":             precipitation,
	"precipitation_probability": chance,
	"snowfall":                  snowfall,
	"weather_code":              weatherCode,
	"weathercode":               weatherCode,
	"cloud_cover":               cloud,
	"cloudcover":                cloud,
	"wind_speed_10m":            wind,
	"windspeed_10m":             wind,
	"wind_gusts_10m":            gusts,
	"windgusts_10m":             gusts,
	"shortwave_radiation":       shortwave,
}

// meaning is what a quantity becomes.
type meaning struct {
	variable  forecast.Variable
	preceding bool // the value labelled t is that of the hour before t
}

// meanings follow the provider's documentation, "Hourly Parameter Definition"
// (https://open-meteo.com/en/docs): sums, maxima and means are those of the
// preceding hour, the others hold at the label.
var meanings = map[quantity]meaning{
	temperature:   {forecast.AirC, false},
	humidity:      {forecast.HumidityPct, false},
	dewPoint:      {forecast.DewPointC, false},
	precipitation: {forecast.RainMM, true},
	chance:        {forecast.RainChance, true},
	snowfall:      {forecast.SnowMM, true},
	cloud:         {forecast.CloudPct, false},
	wind:          {forecast.WindMS, false},
	gusts:         {forecast.GustMS, true},
	shortwave:     {forecast.ShortwaveWM2, true},
}

// A depth of fresh snow turns into its water by the provider's own rule: 7 cm
// of snow are 10 mm of water (https://open-meteo.com/en/docs, "snowfall").
const (
	waterOfSnow = 10 // mm
	depthOfSnow = 7  // cm
)

// scale is how a unit turns into ours. Multiplying and dividing apart keeps
// 57 % at 0.57, where a factor of 0.01 would not.
type scale struct{ zero, times, over float64 }

func (s scale) of(theirs float64) float64 { return (theirs - s.zero) * s.times / s.over }

// scaleOf returns the scale of a stated unit, and whether it is known for
// that quantity. The service's own spellings are mp/h and kn.
func scaleOf(q quantity, stated string) (scale, bool) {
	switch q {
	case temperature, dewPoint:
		switch stated {
		case "°C":
			return scale{0, 1, 1}, true
		case "°F":
			return scale{32, 5, 9}, true
		}
	case precipitation:
		switch stated {
		case "mm":
			return scale{0, 1, 1}, true
		case "inch":
			return scale{0, 25.4, 1}, true
		}
	case snowfall:
		switch stated {
		case "cm":
			return scale{0, waterOfSnow, depthOfSnow}, true
		case "inch":
			return scale{0, 2.54 * waterOfSnow, depthOfSnow}, true
		}
	case chance:
		return scale{0, 1, 100}, stated == "%"
	case humidity, cloud:
		return scale{0, 1, 1}, stated == "%"
	case wind, gusts:
		switch stated {
		case "m/s":
			return scale{0, 1, 1}, true
		case "km/h":
			return scale{0, 1, 3.6}, true
		case "mp/h", "mph":
			return scale{0, unit.MSPerMPH, 1}, true
		case "kn":
			return scale{0, unit.MSPerKnot, 1}, true
		}
	case shortwave:
		return scale{0, 1, 1}, stated == "W/m²"
	case weatherCode:
		return scale{0, 1, 1}, strings.EqualFold(stated, "wmo code")
	}
	return scale{}, false
}

// thunder reports whether a WMO weather interpretation code is a thunderstorm:
// 95 slight or moderate, 96 and 99 with hail (https://open-meteo.com/en/docs,
// "WMO Weather interpretation codes").
func thunder(code float64) bool { return code == 95 || code == 96 || code == 99 }
