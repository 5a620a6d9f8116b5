package projects

import (
	"container/list"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"sync"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/forecast"
	"dryslot/internal/learn"
	"dryslot/internal/planner/slabs"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// weather is one forecast as planning sees it, for projects that share a mix.
type weather struct {
	scenarios *forecast.Scenarios
	slabs     slabs.Slabs
}

// weatherCache keeps the weather of the projects planned last: a what-if or a
// log entry soon after a plan then finds its slabs computed, and so do the
// neighbours in a cell that use the same mix.
type weatherCache struct {
	mu    sync.Mutex
	found map[weatherKey]*list.Element
	order list.List // of weatherItem, the last used in front
}

type weatherKey struct {
	forecast int64
	casting  string // all that slabs depend on beside the weather
}

// casting is what the slab results depend on beside the weather.
type casting struct {
	Mix       pour.Mix
	Site      pour.Site
	Finish    string
	Elevation *float64
	Zone      string
	SetFactor float64 // learned, as is the water that goes into a bag
}

type weatherItem struct {
	key weatherKey
	w   *weather
}

// mostWeathers bounds the cache; one takes a few megabytes.
const mostWeathers = 16

// of returns the weather of a forecast for a project, whose spec may have been
// corrected by what was learned. The sun stands as it does in the middle of
// the cell, at most 10 s off.
func (c *weatherCache) of(spec pour.Spec, setFactor float64, zone *time.Location, f forecast.Kept) (*weather, error) {
	mark, err := json.Marshal(casting{spec.Mix, spec.Site, spec.Crew.Finish, spec.ElevationM, zone.String(), setFactor})
	if err != nil {
		return nil, fmt.Errorf("projects: slabs: %w", err)
	}
	key := weatherKey{f.ID, string(mark)}
	w, sc := c.look(key)
	if w != nil {
		return w, nil
	}
	if sc == nil {
		if sc, err = forecast.Draw(&f.Forecast, forecast.DrawOptions{Recalibration: f.Recalibration}); err != nil {
			return nil, fmt.Errorf("projects: scenarios: %w", err)
		}
	}
	spec.Latitude, spec.Longitude = f.Forecast.Cell.Latitude, f.Forecast.Cell.Longitude
	made, err := slabs.New(spec, sc, slabs.Options{Zone: zone, SetFactor: setFactor})
	if err != nil {
		return nil, fmt.Errorf("projects: slabs: %w", err)
	}
	return c.keep(key, &weather{sc, made}), nil
}

// look returns what is kept under a key, else the scenarios of the same
// forecast, where another casting's are kept.
func (c *weatherCache) look(key weatherKey) (*weather, *forecast.Scenarios) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if e, ok := c.found[key]; ok {
		c.order.MoveToFront(e)
		return e.Value.(weatherItem).w, nil
	}
	for e := c.order.Front(); e != nil; e = e.Next() {
		if i := e.Value.(weatherItem); i.key.forecast == key.forecast {
			return nil, i.w.scenarios
		}
	}
	return nil, nil
}

func (c *weatherCache) keep(key weatherKey, w *weather) *weather {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.found == nil {
		c.found = map[weatherKey]*list.Element{}
	}
	if e, ok := c.found[key]; ok { // another was quicker
		return e.Value.(weatherItem).w
	}
	c.found[key] = c.order.PushFront(weatherItem{key, w})
	for c.order.Len() > mostWeathers {
		e := c.order.Back()
		c.order.Remove(e)
		delete(c.found, e.Value.(weatherItem).key)
	}
	return w
}

// weather is the newest forecast as planning sees it, by the handbook; nil
// where there is none, or where it can't be drawn (then failed says why).
func (st *knowledge) weather() *weather {
	if st.drawn == nil && st.forecast != nil && st.failed == nil {
		st.drawn, st.failed = st.cache.of(st.project.Spec, 1, st.zone, *st.forecast)
	}
	return st.drawn
}

// lessons is what the log teaches of this crew and mix: the project as it is
// planned with, and the weather that goes with its mix.
type lessons struct {
	learned learn.Corrections
	spec    pour.Spec
	weather *weather // nil: before the first forecast
	err     error    // why it can't be drawn
}

// corrected returns the weather and the spec to plan with: those of the
// handbook, corrected by what the log teaches of this crew and mix. The
// weather is nil before the first forecast. The log is learned from once.
func (st *knowledge) corrected(ctx context.Context) (*weather, pour.Spec, error) {
	t := st.lessons
	if t == nil {
		t = &lessons{learned: learn.FromLog(st.project.Spec, st.counted, st.predicted(ctx))}
		t.spec = t.learned.Apply(st.project.Spec)
		if st.forecast != nil {
			t.weather, t.err = st.cache.of(t.spec, t.learned.SetFactor.Value, st.zone, *st.forecast)
		}
		st.lessons = t
		if err := ctx.Err(); err != nil {
			t.err = err // not all was predicted
		}
	}
	return t.weather, t.spec, t.err
}

// predicted is what was to be expected of each finished casting whose weather
// is still held.
func (st *knowledge) predicted(ctx context.Context) []learn.Predicted {
	finished := map[string]bool{} // pads with a finish logged
	for _, e := range st.counted {
		if e.Kind == pour.EntryFinished {
			finished[e.Pad] = true
		}
	}
	var out []learn.Predicted
	for _, e := range st.counted {
		if e.Kind != pour.EntryPlaced || !finished[e.Pad] {
			continue
		}
		if b, ok := st.behave(ctx, e.Pad, e.At); ok && b.FinishUntil != concrete.Never {
			out = append(out, learn.Predicted{Pad: e.Pad, PlacedAt: e.At, FinishFrom: b.FinishFrom,
				FinishUntil: b.FinishUntil,
				Placing:     e.At.Sub(st.placedFrom(st.project.Pads[padIndex(st.project.Spec, e.Pad)], e.At))})
		}
	}
	return out
}

// behave returns what a pad placed at an instant does, from the weather that
// is held; false when that does not reach it, or when the context has ended.
func (st *knowledge) behave(ctx context.Context, pad string, placed time.Time) (*concrete.Behaviour, bool) {
	return st.behaveUnder(ctx, st.weather(), pad, placed)
}

// behaveUnder takes the middle track, as a plan does: each track errs its own way, in
// the hours gone by too. Durations count from placed.
func (st *knowledge) behaveUnder(ctx context.Context, w *weather, pad string,
	placed time.Time) (*concrete.Behaviour, bool) {
	i := padIndex(st.project.Spec, pad)
	if ctx.Err() != nil || i < 0 || w == nil || st.now.Sub(placed) > weatherHeld {
		return nil, false
	}
	from := st.placedFrom(st.project.Pads[i], placed)
	if from.Before(w.scenarios.Start) {
		return nil, false
	}
	b := slabs.Between(w.slabs, slabs.Query{Track: st.middle(w, from), Placed: from,
		Kind: slabs.KindOf(st.project.Spec, st.project.Pads[i])})
	if b.Unknown || b.InitialSet == concrete.Never {
		return nil, false
	}
	for _, at := range b.Times() {
		if *at != concrete.Never {
			*at = max(0, *at-placed.Sub(from))
		}
	}
	return b, true
}

// weatherHeld is longer than any forecast reaches back.
const weatherHeld = 30 * 24 * time.Hour

// curedAfter stands in where the weather since placing is not held: 7 days
// moist above 10 C for ordinary cement (ACI 308R, from memory).
const curedAfter = 7 * 24 * time.Hour

// curedAt returns when a pad placed at an instant has cured.
func (st *knowledge) curedAt(ctx context.Context, pad string, placed time.Time) time.Time {
	if b, ok := st.behave(ctx, pad, placed); ok && b.CuredBy != concrete.Never {
		return placed.Add(b.CuredBy)
	}
	return placed.Add(curedAfter)
}

// setting is when a placed pad reaches initial and final set.
type setting struct {
	initial, final time.Duration // from placing
	known          bool          // from the weather that it had
}

// coldGuess stands in for the concrete's temperature where the weather is not
// held: cool, so that a pad counts as soft rather too long (judgement).
const coldGuess unit.Celsius = 8

// settingOf returns when a placed pad sets, as corrected by the log. Where the
// weather can't be drawn, it is as little held as where it was forgotten.
func (st *knowledge) settingOf(ctx context.Context, pad string, placed time.Time) (setting, error) {
	w, spec, err := st.corrected(ctx)
	if err != nil {
		w = nil
	}
	if b, ok := st.behaveUnder(ctx, w, pad, placed); ok {
		return setting{b.InitialSet, b.FinalSet, true}, nil
	}
	m := spec.Mix
	fraction, _ := m.CementShare()
	ratio := math.Max(0.3, math.Min(1, m.WaterLPerBag/(fraction*m.BagKg))) // 1 litre of water is 1 kg
	t, err := concrete.SetTimes(coldGuess, m.Cement, ratio, st.project.Crew.Finish)
	if err != nil {
		return setting{}, fmt.Errorf("projects: setting of %s: %w", pad, err)
	}
	slower := max(1, st.lessons.learned.SetFactor.Value) // a guess is not made shorter
	hours := func(h float64) time.Duration { return time.Duration(slower * h * float64(time.Hour)) }
	return setting{initial: hours(t.InitialH), final: hours(t.FinalH)}, nil
}

func padIndex(s pour.Spec, pad string) int {
	for i, p := range s.Pads {
		if p.Name == pad {
			return i
		}
	}
	return -1
}
