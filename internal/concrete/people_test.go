package concrete

import (
	"testing"
)

func TestPeopleCautions(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range PeopleCautions() {
		if c.ID == "" || c.When == "" || c.Text.IsZero() || c.Source.IsZero() || seen[c.ID] {
			t.Errorf("%+v", c)
		}
		seen[c.ID] = true
	}
	for _, id := range []string{"alkali-burns", "silica", "lifting", "mixer", "wet-electrics", "thunder", "hot-water",
		"fuel-heaters", "washout", "breaking-out", "licensed-design", "local-codes"} {
		if !seen[id] {
			t.Errorf("nothing on %s", id)
		}
	}
}
