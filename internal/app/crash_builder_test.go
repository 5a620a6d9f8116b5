package app_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"dryslot/internal/notify"
	"dryslot/internal/pour"
)

// work is what a builder has done at one project, as far as it was accepted.
type work struct {
	placed  []time.Time // in the order of the pads
	open    bool        // something was placed since the covers were laid
	raining bool
	climate climate
}

const mostADay = 3

// padsOfAProject is more than are placed in the run, so that no project is
// finished: of tomorrow nothing is owed to who has nothing left to pour.
func padsOfAProject() int { return 12 + *crashRounds/30 }

// keepBuilding taps what a builder would, in working hours, at random, under a key
// of its own each, and notes what was accepted. What can't be true is refused.
func (s *site) keepBuilding(ctx context.Context, k *told) {
	for n := 0; ctx.Err() == nil; n++ {
		project, _ := k.project(n)
		e, ok := s.tapOf(k, project)
		if !ok {
			s.dawdle(ctx, 100*time.Millisecond)
			continue
		}
		e.Text = fmt.Sprintf("tap %d", n)
		err := s.must(ctx, "POST", "/v1/projects/"+project+"/log", e.Text, e, nil)
		switch {
		case ctx.Err() != nil:
			return
		case errors.Is(err, errRefused):
		case err != nil:
			s.t.Error(err)
			return
		default:
			s.tapped(k, project, e)
		}
		s.dawdle(ctx, 150*time.Millisecond)
	}
}

// tap is an entry of the log.
type tap struct {
	Kind  pour.EntryKind `json:"kind"`
	Pads  []string       `json:"pads,omitempty"`
	At    time.Time      `json:"at"`
	Text  string         `json:"text"`
	Cover string         `json:"cover,omitempty"`
}

// tapOf is what is done next at a project; false: nothing.
func (s *site) tapOf(k *told, project string) (tap, bool) {
	now := s.now()
	if h := now.In(s.zone).Hour(); h < 7 || h >= 18 {
		return tap{}, false
	}
	k.mu.Lock()
	w := *k.work[project]
	k.mu.Unlock()
	e := tap{At: now.Add(-time.Minute)}
	today := 0
	for _, at := range w.placed {
		if s.dateOf(at) == s.dateOf(now) {
			today++
		}
	}
	what := s.upTo(9)
	if w.climate == stormy && w.open && what > 2 {
		what = 4 // against the gusts
	}
	switch what {
	case 0, 1, 2:
		e.Kind, e.Pads = pour.EntryPlaced, []string{fmt.Sprintf("G%d", len(w.placed))}
		return e, len(w.placed) < padsOfAProject() && today < mostADay && !w.raining
	case 3:
		i := s.upTo(time.Duration(padsOfAProject()))
		e.Kind, e.Pads = pour.EntryFinished, []string{fmt.Sprintf("G%d", i)}
		return e, int(i) < len(w.placed) && now.Sub(w.placed[i]) > 2*time.Hour
	case 4:
		e.Kind, e.Cover = pour.EntryCovered, "plastic"
		if w.climate == frosty {
			e.Cover = "blanket"
		}
		return e, w.open
	case 5:
		e.Kind = pour.EntryUncovered
		return e, !w.open && len(w.placed) > 0 && w.climate != stormy // there the sheets stay on
	case 6, 7:
		e.Kind = pour.EntryRainBegan
		return e, w.open && !w.raining
	}
	e.Kind = pour.EntryRainEnded
	return e, w.raining
}

// tapped notes an accepted entry.
func (s *site) tapped(k *told, project string, e tap) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.entries[project] = append(k.entries[project], e.Text)
	w := k.work[project]
	switch e.Kind {
	case pour.EntryPlaced:
		w.placed, w.open = append(w.placed, e.At), true
	case pour.EntryCovered:
		w.open = false
	case pour.EntryRainBegan:
		w.raining = true
	case pour.EntryRainEnded:
		w.raining = false
	}
}

func (s *site) dateOf(t time.Time) string { return t.In(s.zone).Format(time.DateOnly) }

// firstOf is the key of the first delivery of an alert's occasion: what is sent
// again, since nobody answered, has its number behind it.
func firstOf(key string) string {
	parts := strings.Split(key, "/")
	return strings.Join(parts[:min(len(parts), 5)], "/")
}

// idOf is the id that every message of an alert's occasion carries.
func idOf(key string) string { return notify.MessageID(firstOf(key)) }

// toldBy counts the kinds of alert that messages tell of, one or several each, as the
// webhooks had them.
func (s *site) toldBy(came map[string][]receipt) map[notify.Kind]int {
	out := map[notify.Kind]int{}
	for _, r := range slices.Concat(slices.Collect(maps.Values(came))...) {
		var said struct {
			Data struct {
				Kind  notify.Kind   `json:"kind"`
				Kinds []notify.Kind `json:"kinds"`
			} `json:"data"`
		}
		if err := json.Unmarshal([]byte(r.body), &said); err != nil {
			continue // a letter: its webhook tells the same
		}
		if len(said.Data.Kinds) == 0 {
			said.Data.Kinds = []notify.Kind{said.Data.Kind}
		}
		for _, k := range said.Data.Kinds {
			out[k]++
		}
	}
	return out
}

// kindsInPlay are those that a long run has to bring.
var kindsInPlay = []notify.Kind{notify.Evening, notify.Morning, notify.Change, notify.NotStarted, notify.Rain,
	notify.Stop, notify.Resume, notify.Ready, notify.Drying, notify.Gust, notify.Thunder, notify.Dusk, notify.Strip,
	notify.Damp, notify.Uncover}
