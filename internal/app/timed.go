package app

import (
	"context"
	"time"

	"dryslot/internal/fetching"
	"dryslot/internal/forecast"
	"dryslot/internal/metrics"
	"dryslot/internal/place"
	"dryslot/internal/planner/job"
	"dryslot/internal/projects"
	"dryslot/internal/traces"
)

// timedPlan has how long each plan takes noted, and makes a span of it.
func timedPlan(m *metrics.Metrics, t *traces.Traces, plan projects.Plan) projects.Plan {
	return func(ctx context.Context, j job.Job) (*job.Result, error) {
		begun := time.Now()
		ctx, end := t.Span(ctx, "plan")
		r, err := plan(ctx, j)
		end(err)
		m.Plan(err, time.Since(begun))
		return r, err
	}
}

// timedFeeds has how long each call of a feed takes noted, and makes a span of it.
func timedFeeds(m *metrics.Metrics, t *traces.Traces, feeds []fetching.Feed) []fetching.Feed {
	out := make([]fetching.Feed, len(feeds))
	for i, f := range feeds {
		timed := timedFeed{f, m, t}
		out[i] = timed
		limited, ok := f.(fetching.Limited)
		if !ok {
			continue
		}
		whole := timedLimitedFeed{timed, limited}
		out[i] = whole
		if short, ok := f.(fetching.ShortFeed); ok {
			out[i] = timedShortFeed{whole, short}
		}
	}
	return out
}

type timedFeed struct {
	fetching.Feed
	metrics *metrics.Metrics
	traces  *traces.Traces
}

// timedLimitedFeed is timed and keeps the feed's limits.
type timedLimitedFeed struct {
	timedFeed
	limited fetching.Limited
}

// timedShortFeed is timed, keeps the feed's limits and has a short-range product.
type timedShortFeed struct {
	timedLimitedFeed
	short fetching.ShortFeed
}

// FetchShort asks the feed for its short-range product.
func (f timedShortFeed) FetchShort(ctx context.Context, cell place.Cell, now time.Time) (forecast.ShortRange, error) {
	begun := time.Now()
	ctx, end := f.traces.Span(ctx, "feed "+f.Name()+" short")
	out, err := f.short.FetchShort(ctx, cell, now)
	end(err)
	f.metrics.Feed(f.Name(), err, time.Since(begun))
	return out, err
}

// Limits returns the limits of the feed's provider.
func (f timedLimitedFeed) Limits() forecast.Limits { return f.limited.Limits() }

// Fetch asks the feed.
func (f timedFeed) Fetch(ctx context.Context, cell place.Cell, validator string,
	now time.Time) (forecast.Forecast, error) {
	begun := time.Now()
	ctx, end := f.traces.Span(ctx, "feed "+f.Name())
	out, err := f.Feed.Fetch(ctx, cell, validator, now)
	end(err)
	f.metrics.Feed(f.Name(), err, time.Since(begun))
	return out, err
}
