package pour

import (
	"encoding/json"
	"time"

	"dryslot/internal/unit"
)

// FormSet is a number of like forms that are used again. A form of several cells, a
// gang form, holds as many pads, is filled on one day and is stripped as one.
type FormSet struct {
	Name  string `json:"name" required:"true"`
	Count int    `json:"count" required:"true"`
	Cells int    `json:"cells"` // pads that one form holds at a time; absent: 1
}

// setDefaults fills in what a form set need not say.
func (f *FormSet) setDefaults() { f.Cells = 1 }

// UnmarshalJSON reads a form set that is kept, which had no cells before there were
// gang forms.
func (f *FormSet) UnmarshalJSON(b []byte) error {
	type plain FormSet
	f.setDefaults()
	return json.Unmarshal(b, (*plain)(f))
}

// Holds is how many pads the set holds at a time.
func (f FormSet) Holds() int { return f.Count * max(1, f.Cells) }

// Taken is how many cells are taken by pads that are placed on so many days: a form
// that holds pads of one day takes none of another. Of several days it is the most
// that it may be, since each may leave one form half full.
func (f FormSet) Taken(pads, days int) int {
	cells := max(1, f.Cells)
	return min(pads*cells, (pads+days*(cells-1))/cells*cells)
}

// Stripping is from when on a pad may be stripped; zero: that is not in sight.
type Stripping struct {
	Pad    string
	Placed unit.Date // on which its placing began
	From   time.Time
}

// StripTogether moves each pad of a gang form to when the last can be stripped of
// those whose placing with the same set began on the same day.
func (s *Spec) StripTogether(all []Stripping) {
	type fill struct {
		set    string
		placed unit.Date
	}
	gangs, of := map[string]bool{}, map[string]string{}
	for _, f := range s.FormSets {
		gangs[f.Name] = f.Cells > 1
	}
	for _, p := range s.Pads {
		if p.FormSet != nil && gangs[*p.FormSet] {
			of[p.Name] = *p.FormSet
		}
	}
	last := map[fill]time.Time{}
	for _, x := range all {
		in := fill{of[x.Pad], x.Placed}
		if have, ok := last[in]; !ok || !have.IsZero() && (x.From.IsZero() || x.From.After(have)) {
			last[in] = x.From
		}
	}
	for i, x := range all {
		if set, ok := of[x.Pad]; ok {
			all[i].From = last[fill{set, x.Placed}]
		}
	}
}
