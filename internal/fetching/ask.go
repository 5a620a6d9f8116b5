package fetching

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
)

// ask asks the feeds in order until one forecast is complete, and leaves their
// share to the cells with a day under way.
func (s *Service) ask(ctx context.Context, state CellState, live int) (got []forecast.Forecast, troubles []trouble) {
	for _, f := range s.Feeds {
		validator := ""
		if len(s.Feeds) == 1 { // a merged forecast has no single validator
			validator = state.Validator
		}
		var fc forecast.Forecast
		wait, err := s.within(ctx, f, purpose{live: live}, func() (err error) {
			fc, err = f.Fetch(ctx, state.Cell, validator, s.Now())
			return err
		})
		if errors.Is(err, forecast.ErrNotModified) {
			fc, err = s.confirmed(ctx, state, fc)
		}
		if err == nil {
			err = fc.CheckAhead(s.Now())
		}
		if err != nil {
			troubles = append(troubles, trouble{f.Name(), err, wait})
			continue
		}
		got = append(got, fc)
		if complete(fc) {
			break
		}
	}
	return got, troubles
}

// needed is what a morning is judged by. What no feed gives stays unknown.
var needed = [...]forecast.Variable{forecast.AirC, forecast.HumidityPct, forecast.WindMS, forecast.CloudPct,
	forecast.RainMM, forecast.RainChance}

// complete reports whether the coming three days lack nothing that is needed: a
// second feed is then not asked.
func complete(f forecast.Forecast) bool {
	from := f.FetchedAt()
	for i := range f.Hours {
		h := &f.Hours[i]
		if h.Start.Before(from) || h.Start.After(from.Add(72*time.Hour)) {
			continue
		}
		for _, v := range needed {
			if !h.Get(v).Known && (v != forecast.RainChance || len(f.Members) == 0) {
				return false
			}
		}
	}
	return true
}

// confirmed is the forecast that is held, where its feed answered that it is
// still the newest: its age counts from this fetch on, unless the document
// gives another time.
func (s *Service) confirmed(ctx context.Context, state CellState, answer forecast.Forecast) (forecast.Forecast, error) {
	var held forecast.Kept
	err := s.Store.InSystem(ctx, func(ctx context.Context, tx SystemTx) (err error) {
		held, err = tx.Forecast(ctx, state.Cell)
		return err
	})
	if err != nil {
		return forecast.Forecast{}, fmt.Errorf("not modified, but none is held: %w", err)
	}
	f := held.Forecast
	f.Sources = append([]forecast.Source(nil), f.Sources...)
	for i := range f.Sources {
		f.Sources[i].FetchedAt = s.Now()
	}
	f.NextFetch = answer.NextFetch
	return f, nil
}

// within makes one request to a feed within its provider's limits. A wait that
// is not zero says that it was not made.
func (s *Service) within(ctx context.Context, f Feed, p purpose, request func() error) (wait time.Duration, err error) {
	var l forecast.Limits
	if limited, ok := f.(Limited); ok {
		l = limited.Limits()
	}
	if p.short {
		l.Weight = shortWeight
	}
	leave, err := s.slot(ctx, f.Name(), l.AtOnce)
	if err != nil {
		return waitHere, err
	}
	defer leave()
	giveUp, wait, err := s.take(ctx, f.Name(), l, p)
	if err != nil {
		return wait, err
	}
	err = request()
	done, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	if e := s.done(done, f.Name(), giveUp, outcomeOf(err)); e != nil {
		s.log().ErrorContext(ctx, "feed state", "feed", f.Name(), "error", e)
	}
	return 0, err
}

// outcomeOf tells a feed's own failure from a refusal of one cell.
func outcomeOf(err error) FeedOutcome {
	oneCell := !errors.Is(err, forecast.ErrRefusesAll) && (errors.Is(err, fault.Invalid) ||
		errors.Is(err, fault.NotFound))
	if err == nil || errors.Is(err, forecast.ErrNotModified) || oneCell {
		return FeedOutcome{}
	}
	o := FeedOutcome{Failed: true, Why: err.Error()}
	var e *fault.Error
	if errors.As(err, &e) {
		o.RetryAfter = e.RetryAfter
	}
	return o
}
