package projects_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/forecast/skytest"
	"dryslot/internal/place"
	"dryslot/internal/postgres"
)

// A document that does not serve the days ahead leaves the forecast held as it
// is, and says why.
func TestADocumentThatDoesNotServeReplacesNothing(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]struct {
		how  func(*skytest.Sky)
		says string
	}{
		"old":     {func(s *skytest.Sky) { s.Late = -30 * 24 * time.Hour }, "air_c"},
		"short":   {func(s *skytest.Sky) { s.Late = -11 * 24 * time.Hour }, "air_c"},
		"future":  {func(s *skytest.Sky) { s.Late = 5 * 24 * time.Hour }, "air_c"},
		"foreign": {func(s *skytest.Sky) { s.Place = &place.Cell{Latitude: 12, Longitude: 34} }, "place"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			p := w.project()
			before := w.weather(p)
			spoil.how(w.feed)
			w.later(2 * time.Hour)
			if err := w.fetching.Refresh(context.Background(), cellOf(p)); err != nil {
				t.Fatal(err)
			}
			if c := w.cell(p); c.ForecastID != before.ForecastID || !strings.Contains(c.Trouble.Text, spoil.says) ||
				c.Failures != 1 {
				t.Errorf("%+v, and forecast %d was held", c, before.ForecastID)
			}
			// The next feed is asked, and the first one's trouble is shown.
			w.fetching.Feeds = append(w.fetching.Feeds, &skytest.Sky{Named: "second sky"})
			w.later(2 * time.Hour)
			if err := w.fetching.Refresh(context.Background(), cellOf(p)); err != nil {
				t.Fatal(err)
			}
			var kept forecast.Kept
			err := w.store.InSystem(context.Background(), func(ctx context.Context, tx *postgres.SystemTx) (err error) {
				kept, err = tx.Forecast(ctx, cellOf(p))
				return err
			})
			if err != nil || kept.Forecast.Sources[0].Feed != "second sky" {
				t.Errorf("kept %+v, %v", kept.Forecast.Sources, err)
			}
			if c := w.cell(p); c.Failures != 0 || !strings.HasPrefix(c.Trouble.Text, "sky: ") ||
				!strings.Contains(c.Trouble.Text, spoil.says) {
				t.Errorf("%+v", c)
			}
		})
	}
}
