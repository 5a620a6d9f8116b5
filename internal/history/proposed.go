package history

import (
	"cmp"
	"slices"

	"dryslot/internal/message"
	"dryslot/internal/pour"
)

// Proposed are the entries that confirm what is taken to have been done as
// planned and was not logged, one for each pad and kind, in order of time.
func (s State) Proposed() []pour.LogEntry {
	var out []pour.LogEntry
	for _, q := range s.Questions {
		kind, ok := map[message.Code]pour.EntryKind{WasPlaced: pour.EntryPlaced, WasFinished: pour.EntryFinished}[q.Ask]
		if !ok {
			continue
		}
		for _, pad := range q.Pads {
			out = append(out, pour.LogEntry{Kind: kind, Pad: pad, At: q.At, Confirmed: true})
		}
	}
	slices.SortStableFunc(out, func(a, b pour.LogEntry) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(ranks[a.Kind], ranks[b.Kind]))
	})
	return out
}
