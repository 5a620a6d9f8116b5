package projects

import (
	"errors"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/pour"
)

// A new project's bags are counted before its first day; a number that changes,
// or comes without its moment, is counted now; the rest of a project changes
// without a new count.
func TestWhenBagsWereCounted(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 6, 8, 12, 0, 0, 0, time.UTC)
	dawn := time.Date(2026, 6, 7, 22, 0, 0, 0, time.UTC) // midnight two hours east
	before, later := now.Add(-48*time.Hour), now.Add(time.Hour)
	stock := func(bags int, at *time.Time) *pour.Stock { return &pour.Stock{BagsOnHand: &bags, CountedAt: at} }
	for _, c := range []struct {
		what     string
		old, new *pour.Stock
		want     *time.Time
	}{
		{"a new project", nil, stock(12, nil), &dawn},
		{"a new project with its moment", nil, stock(12, &before), &before},
		{"without bags", nil, &pour.Stock{CountedAt: &before}, nil},
		{"another number", stock(12, &before), stock(9, &before), &now},
		{"another number, counted earlier", stock(12, &before), stock(9, &dawn), &dawn},
		{"the same number without its moment", stock(12, &before), stock(12, nil), &now},
		{"nothing changed", stock(12, &before), stock(12, &before), &before},
		{"nothing changed since before moments were kept", stock(12, nil), stock(12, nil), nil},
		{"a first count", &pour.Stock{}, stock(12, nil), &now},
	} {
		spec := pour.Spec{TimeZone: "Etc/GMT-2", Stock: *c.new}
		if err := counted(&spec, c.old, now); err != nil {
			t.Fatal(err)
		}
		got := spec.Stock.CountedAt
		if (got == nil) != (c.want == nil) || got != nil && !got.Equal(*c.want) {
			t.Errorf("%s: counted at %v, want %v", c.what, got, c.want)
		}
	}
	spec := pour.Spec{TimeZone: "Etc/GMT-2", Stock: *stock(12, &later)}
	if err := counted(&spec, nil, now); !errors.Is(err, fault.Invalid) {
		t.Errorf("a count in the future: %v", err)
	}
}
