package notify

import "testing"

func TestAQuantityIsReadInOnesOwnUnits(t *testing.T) {
	for _, c := range []struct{ text, metric, us string }{
		{"The mix comes to 13 C (56 F); water at 21 C (70 F).", "The mix comes to 13 °C; water at 21 °C.", "The mix comes to 56 °F; water at 70 °F."},
		{"falls to -4 C (25 F)", "falls to -4 °C", "falls to 25 °F"},
		{"about 0.61 kg/m2/h (0.12 lb/ft2/h, plus or minus 40 %): film", "about 0.61 kg/m2/h (plus or minus 40 %): film", "about 0.12 lb/ft2/h (plus or minus 40 %): film"},
		{"2.5 m (8.2 ft) without a joint", "2.5 m without a joint", "8.2 ft without a joint"},
		{"moves 0.60 t (1323 lb) an hour", "moves 0.60 t an hour", "moves 1323 lb an hour"},
		{"Rain from 19:00 (25 of 200)", "Rain from 19:00 (25 of 200)", "Rain from 19:00 (25 of 200)"},
	} {
		if got := Own(c.text, false); got != c.metric {
			t.Errorf("metric: %q, want %q", got, c.metric)
		}
		if got := Own(c.text, true); got != c.us {
			t.Errorf("us: %q, want %q", got, c.us)
		}
	}
}
