package metnorway

import (
	"context"
	"net/url"
	"strconv"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// nowcast is what is read of an answer of Nowcast 2.0: rates of rain in steps
// of minutes, extrapolated from the radar. It moves rain and makes none.
type nowcast struct {
	Geometry   fetch.Position `json:"geometry"`
	Properties *struct {
		Meta struct {
			UpdatedAt string      `json:"updated_at"`
			Units     fetch.Words `json:"units"`
			Radar     string      `json:"radar_coverage"`
		} `json:"meta"`
		Timeseries fetch.List[struct {
			Time string `json:"time"`
			Data struct {
				Instant struct {
					Details struct {
						Rate     fetch.Number `json:"precipitation_rate"`
						Air      fetch.Number `json:"air_temperature"`
						Humidity fetch.Number `json:"relative_humidity"`
						Wind     fetch.Number `json:"wind_speed"`
						Gust     fetch.Number `json:"wind_speed_of_gust"`
					} `json:"details"`
				} `json:"instant"`
			} `json:"data"`
		}] `json:"timeseries"`
	} `json:"properties"`
}

// A nowcast's step, and the age from which the provider's own monitor calls it
// too old.
const (
	nowcastStep = 5 * time.Minute
	nowcastOld  = 20 * time.Minute
)

// nowcastUnits are the only units that the provider gives.
var nowcastUnits = map[string]string{"precipitation_rate": "mm/h", "air_temperature": "celsius",
	"relative_humidity": "%", "wind_speed": "m/s", "wind_speed_of_gust": "m/s"}

// DecodeNowcast reads one answer of /weatherapi/nowcast/2.0/complete whole, or
// refuses it with fault.Invalid naming the field, the value and the rule. A
// step's rate is taken to hold for its five minutes; where it is absent, the
// radar does not suffice and the rain is unknown. The amount of the first hour
// is left out: it comes from elsewhere and does not follow the rates. What lies
// before fetchedAt stays in: the time of each step says which one is now.
func DecodeNowcast(body []byte, cell place.Cell, fetchedAt time.Time) (forecast.ShortRange, error) {
	var doc nowcast
	if err := fetch.Parse(Name, body, &doc); err != nil {
		return forecast.ShortRange{}, err
	}
	var bad fault.List
	if doc.Properties == nil || len(doc.Properties.Timeseries) == 0 {
		bad.Add("properties.timeseries", "missing or empty", "must hold the steps")
		return forecast.ShortRange{}, bad.Err(Name + ": the document holds no steps")
	}
	s := forecast.ShortRange{Cell: cell, Place: doc.Geometry.At, OldAfter: nowcastOld,
		Radar: forecast.RadarState(doc.Properties.Meta.Radar), Source: forecast.Source{Feed: Name, FetchedAt: fetchedAt,
			Attribution: Attribution}}
	switch s.Radar {
	case forecast.RadarOK, forecast.RadarUnavailable, forecast.RadarNoCoverage:
	default:
		s.Radar = forecast.RadarUnknown
	}
	for name, want := range nowcastUnits {
		if got, ok := doc.Properties.Meta.Units[name]; ok && got != want {
			bad.Add("properties.meta.units."+name, got, "must be "+want)
		}
	}
	if u := doc.Properties.Meta.UpdatedAt; u != "" {
		t, err := time.Parse(time.RFC3339, u)
		if err != nil {
			bad.Add("properties.meta.updated_at", u, "must be a time such as 2026-04-26T10:18:09Z")
		}
		t = t.UTC()
		s.Source.IssuedAt = &t
	}
	for i, x := range doc.Properties.Timeseries {
		t, err := time.Parse(time.RFC3339, x.Time)
		if err != nil {
			bad.Add("properties.timeseries["+strconv.Itoa(i)+"].time", x.Time,
				"must be a time such as 2026-04-26T10:20:00Z")
			break
		}
		d := &x.Data.Instant.Details
		s.Steps = append(s.Steps, forecast.ShortStep{Start: t.UTC(), Length: nowcastStep, RainMMH: d.Rate.Opt,
			AirC: d.Air.Opt, HumidityPct: d.Humidity.Opt, WindMS: d.Wind.Opt, GustMS: d.Gust.Opt})
	}
	if err := bad.Err(Name + ": the document is not of its stated form"); err != nil {
		return forecast.ShortRange{}, err
	}
	return sound(s)
}

func sound(s forecast.ShortRange) (forecast.ShortRange, error) {
	if err := s.Sound(); err != nil {
		return forecast.ShortRange{}, err
	}
	if s.Radar != forecast.RadarOK {
		for i := range s.Steps {
			s.Steps[i].RainMMH = unit.Opt{} // what was not seen is not known
		}
	}
	return s, nil
}

// FetchShort asks for the cell's nowcast. Outside Norway, Sweden, Finland and
// Denmark it is fault.Invalid (422). What serves the hours ahead is returned, or
// nothing.
func (f *Feed) FetchShort(ctx context.Context, cell place.Cell, now time.Time) (forecast.ShortRange, error) {
	q := url.Values{"lat": {fetch.Coordinate(cell.Latitude)}, "lon": {fetch.Coordinate(cell.Longitude)}}
	ans, err := f.client.Get(ctx, fetch.Request{Feed: Name, URL: f.nowcast + "?" + q.Encode(), Accept: accept, Now: now,
		Reason: reason})
	if err != nil {
		return forecast.ShortRange{}, err
	}
	s, err := DecodeNowcast(ans.Body, cell, now)
	if err == nil {
		err = s.CheckAhead(now)
	}
	if err != nil {
		return forecast.ShortRange{}, err
	}
	s.NextFetch = ans.Expires
	return s, nil
}
