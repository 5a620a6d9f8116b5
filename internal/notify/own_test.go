package notify

import (
	"testing"
	"time"

	"dryslot/internal/unit"
)

func TestAQuantityIsReadInOnesOwnUnits(t *testing.T) {
	for _, c := range []struct{ text, metric, us string }{
		{"The mix comes to 13 C (56 F); water at 21 C (70 F).", "The mix comes to 13 °C; water at 21 °C.", "The mix comes to 56 °F; water at 70 °F."},
		{"falls to -4 C (25 F)", "falls to -4 °C", "falls to 25 °F"},
		{"about 0.61 kg/m2/h (0.12 lb/ft2/h, plus or minus 40 %): film", "about 0.61 kg/m2/h (plus or minus 40 %): film", "about 0.12 lb/ft2/h (plus or minus 40 %): film"},
		{"2.5 m (8.2 ft) without a joint", "2.5 m without a joint", "8.2 ft without a joint"},
		{"moves 0.60 t (1323 lb) an hour", "moves 0.60 t an hour", "moves 1323 lb an hour"},
		{"Rain from 19:00 (25 of 200)", "Rain from 19:00 (25 of 200)", "Rain from 19:00 (25 of 200)"},
	} {
		if got := (Reader{}).Own(c.text); got != c.metric {
			t.Errorf("metric: %q, want %q", got, c.metric)
		}
		if got := (Reader{US: true}).Own(c.text); got != c.us {
			t.Errorf("us: %q, want %q", got, c.us)
		}
	}
}

// A weekday alone must not be taken for one of the days just ahead.
func TestAFarInstantCarriesItsDate(t *testing.T) {
	r := Reader{Zone: time.UTC, Today: unit.Date{Year: 2026, Month: time.November, Day: 26}}
	us := r
	us.US = true
	for _, c := range []struct {
		day        int
		metric, us string
	}{{0, "Thu 18:33", "Thu 18:33"}, {5, "Tue 18:33", "Tue 18:33"}, {7, "Thu 3 Dec, 18:33", "Thu Dec 3, 18:33"}, {-1, "Wed 25 Nov, 18:33", "Wed Nov 25, 18:33"},
		{60, "Mon 25 Jan 2027, 18:33", "Mon Jan 25 2027, 18:33"}} {
		at := time.Date(2026, time.November, 26+c.day, 18, 33, 0, 0, time.UTC)
		if got := r.When(at); got != c.metric {
			t.Errorf("%d days on: %q, want %q", c.day, got, c.metric)
		}
		if got := us.When(at); got != c.us {
			t.Errorf("%d days on: %q, want %q", c.day, got, c.us)
		}
	}
}
