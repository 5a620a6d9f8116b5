package projects

import (
	"container/list"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
	"time"

	"dryslot/internal/forecast/belief"
	"dryslot/internal/planner/hourly"
	"dryslot/internal/planner/policy"
	"dryslot/internal/pour"
	"dryslot/internal/today"
	"dryslot/internal/unit"
)

// workdays keeps the days that were decided on last, ready to be decided on
// again: making one ready takes far longer than a decision.
type workdays struct {
	mu      sync.Mutex
	library *belief.Library // decoded when it is first wanted
	found   map[string]*list.Element
	order   list.List // of *workday, the last used in front
}

// mostWorkdays is how many days are kept; one takes some megabytes.
const mostWorkdays = 32

// workday is one, in the form that package today asks.
type workday struct {
	key string
	mu  sync.Mutex // a planner.Workday serves one at a time
	day *policy.Workday
}

// of returns the day of a project. It depends on the project, the forecast and
// what stood in the morning, and not on what is placed during the day.
func (c *workdays) of(ctx context.Context, st *knowledge) (*workday, error) {
	in, err := st.job(ctx)
	if err != nil {
		return nil, fmt.Errorf("projects: %w", err)
	}
	if in.Weather == nil {
		return nil, nil
	}
	in.Records = slices.Clone(in.Records)
	for i, r := range in.Records {
		if r.PlacedAt != nil && unit.DateOf(*r.PlacedAt, st.zone) == st.today() {
			in.Records[i] = pour.PadRecord{Pad: r.Pad, State: pour.Waiting, Losses: r.Losses}
		}
	}
	in.Begun, in.Last = false, nil
	in.Now = st.today().At(0, st.zone) // so that it can be asked of every minute of the date
	if in.Now.Before(in.Weather.Start) {
		in.Now = in.Weather.Start
	}
	key, err := json.Marshal([]any{st.project.ID, st.project.Revision, st.today(), st.forecast.ID, in.Records,
		in.Skipped})
	if err != nil {
		return nil, fmt.Errorf("projects: day to decide on: %w", err)
	}
	w, library, err := c.look(string(key))
	if w != nil || err != nil {
		return w, err
	}
	day, err := policy.NewWorkday(ctx, in, library)
	if err != nil {
		return nil, fmt.Errorf("projects: day to decide on: %w", err)
	}
	return c.keep(&workday{key: string(key), day: day}), nil
}

func (c *workdays) look(key string) (*workday, *belief.Library, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if e, ok := c.found[key]; ok {
		c.order.MoveToFront(e)
		return e.Value.(*workday), nil, nil
	}
	var err error
	if c.library == nil {
		c.library, err = belief.Embedded()
	}
	return nil, c.library, err
}

func (c *workdays) keep(w *workday) *workday {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.found == nil {
		c.found = map[string]*list.Element{}
	}
	if e, ok := c.found[w.key]; ok { // another was quicker
		return e.Value.(*workday)
	}
	c.found[w.key] = c.order.PushFront(w)
	for c.order.Len() > mostWorkdays {
		e := c.order.Back()
		c.order.Remove(e)
		delete(c.found, e.Value.(*workday).key)
	}
	return w
}

func moment(at today.Moment) policy.Moment {
	m := policy.Moment{Now: at.Now, SetUp: at.SetUp, Raining: at.Raining, Before: at.Before, Nowcast: at.Nowcast}
	for _, p := range at.Placed {
		m.Placed = append(m.Placed, policy.PlacedToday(p))
	}
	return m
}

// Decide implements today.Decider.
func (w *workday) Decide(ctx context.Context, at today.Moment) (today.Decision, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	x, err := w.day.Decide(ctx, moment(at))
	return today.Decision{Decision: x.Decision, Pad: x.Pad}, err
}

// Cover implements today.Decider.
func (w *workday) Cover(ctx context.Context, at today.Moment) ([]hourly.CoverNow, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.day.Cover(ctx, moment(at))
}

// Rain implements today.Decider.
func (w *workday) Rain(ctx context.Context, at today.Moment, until []time.Time) ([]today.Hour, []float64, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	hours, reach, err := w.day.Rain(ctx, moment(at), until)
	out := make([]today.Hour, len(hours))
	for i, h := range hours {
		out[i] = today.Hour{Time: h.Time, Chance: h.Chance, MM: h.MM}
	}
	return out, reach, err
}
