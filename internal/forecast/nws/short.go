package nws

import (
	"context"
	"errors"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
)

// DecodeShort reads the hourly product as a short-range one: hours with a
// chance of rain and no amounts. The chance is repeated from an interval of the
// grid that may be longer than the hour, so that chances of neighbouring hours
// are not to be combined.
func DecodeShort(body []byte, cell place.Cell, fetchedAt time.Time) (forecast.ShortRange, error) {
	fc, err := DecodeHourly(body, cell, fetchedAt)
	if err != nil {
		return forecast.ShortRange{}, err
	}
	s := forecast.ShortRange{Cell: cell, Place: fc.Place, Source: fc.Sources[0], ChanceOver: time.Hour,
		OldAfter: forecast.OldAfter}
	for i := range fc.Hours {
		h := &fc.Hours[i]
		s.Steps = append(s.Steps, forecast.ShortStep{Start: h.Start, Length: time.Hour,
			RainChance: h.Get(forecast.RainChance), AirC: h.Get(forecast.AirC),
			HumidityPct: h.Get(forecast.HumidityPct), WindMS: h.Get(forecast.WindMS), GustMS: h.Get(forecast.GustMS)})
	}
	if err := s.Sound(); err != nil {
		return forecast.ShortRange{}, err
	}
	return s, nil
}

// FetchShort asks for the cell's hourly product. What serves the hours ahead is
// returned, or nothing.
func (f *Feed) FetchShort(ctx context.Context, cell place.Cell, now time.Time) (forecast.ShortRange, error) {
	grid, known, err := f.point(ctx, cell, now)
	if err != nil {
		return forecast.ShortRange{}, err
	}
	ans, err := f.get(ctx, grid.path()+"/forecast/hourly", now)
	if known && errors.Is(err, fault.NotFound) {
		f.forget(cell) // the point has moved to another cell since it was looked up
		if grid, _, err = f.point(ctx, cell, now); err == nil {
			ans, err = f.get(ctx, grid.path()+"/forecast/hourly", now)
		}
	}
	if err != nil {
		return forecast.ShortRange{}, err
	}
	s, err := DecodeShort(ans.Body, cell, now)
	if err == nil {
		err = s.CheckAhead(now)
	}
	if err != nil {
		return forecast.ShortRange{}, err
	}
	s.NextFetch = ans.Expires
	return s, nil
}
