package forecast_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand"
	"strings"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/place"
	"dryslot/internal/unit"
)

// Humidity at the corners of the psychrometric tables: vapour pressures over
// water of 6.112 hPa at 0 C, 12.27 at 10 C, 23.37 at 20 C and 42.43 at 30 C
// (Smithsonian Meteorological Tables, from memory), to the 0.4 % of the form.
func TestHumidityFromDewPoint(t *testing.T) {
	pressure := map[float64]float64{0: 6.112, 10: 12.27, 20: 23.37, 30: 42.43}
	for air, e := range pressure {
		for dew, ed := range pressure {
			got := forecast.HumidityOf(air, dew)
			switch {
			case dew > air+1:
				if got.Known {
					t.Errorf("a dew point of %v C in air of %v C gives %v %%", dew, air, got.V)
				}
			case !got.Known || math.Abs(got.V-100*ed/e) > 0.4:
				t.Errorf("a dew point of %v C in air of %v C gives %+v, want %.1f %%", dew, air, got, 100*ed/e)
			}
		}
	}
	if got := forecast.HumidityOf(10, 10.6); got.V != 100 {
		t.Errorf("a rounded dew point gives %+v, want 100", got)
	}
	r := rand.New(rand.NewSource(1))
	for range 1000 {
		air := r.Float64()*90 - 40
		rh := 1 + 99*r.Float64()
		dew := forecast.DewPointOf(air, rh)
		if back := forecast.HumidityOf(air, dew.V); !back.Known || math.Abs(back.V-rh) > 1e-9 {
			t.Fatalf("%v %% at %v C has the dew point %+v, which has %+v %%", rh, air, dew, back)
		}
	}
	if got := forecast.DewPointOf(10, 0); got.Known {
		t.Errorf("dry air has a dew point of %v", got.V)
	}
}

// Clear-sky radiation: nothing below the horizon, 1098 exp(-0.059) overhead,
// always more with a higher sun and never more than the sun gives (1361 W/m2);
// overcast lets a quarter through, as Kasten and Czeplak have it.
func TestClearSkyAndCloud(t *testing.T) {
	if got := forecast.ClearSky(-0.1) + forecast.ClearSky(0); got != 0 {
		t.Errorf("below the horizon: %v W/m2", got)
	}
	if got := forecast.ClearSky(90); math.Abs(got-1035.1) > 0.1 {
		t.Errorf("overhead: %v W/m2, want 1035.1", got)
	}
	for h := 1.0; h <= 90; h++ {
		if a, b := forecast.ClearSky(h-1), forecast.ClearSky(h); b <= a || b > 1361*math.Sin(h*math.Pi/180) {
			t.Errorf("at %v degrees: %v W/m2 after %v", h, b, a)
		}
	}
	for cloud, want := range map[float64]float64{0: 1, 100: 0.25, 50: 1 - 0.75*math.Pow(0.5, 3.4)} {
		if got := forecast.CloudDims(cloud); math.Abs(got-want) > 1e-12 {
			t.Errorf("a cover of %v %% lets %v through, want %v", cloud, got, want)
		}
	}
}

func TestFill(t *testing.T) {
	nan := math.NaN()
	fc := made(t, "a", noon, 24, wet, func(hour int, v forecast.Variable) float64 {
		switch v {
		case forecast.AirC:
			return 10
		case forecast.DewPointC:
			return 5
		case forecast.CloudPct:
			if hour == 1 {
				return nan
			}
			return 0
		case forecast.ShortwaveWM2:
			if hour == 3 {
				return 77
			}
		case forecast.RainChance:
			if hour == 2 {
				return 0.9
			}
		}
		return nan
	})
	fc.Members = make([]forecast.Member, 4)
	for m := range fc.Members {
		rain := make(forecast.Series, 24)
		for i := range rain {
			rain[i] = float64(m) * 0.1 // the wet event is more than 0.1
		}
		if m > 1 {
			rain[5], rain[6] = nan, nan
		}
		if m == 1 {
			rain[6] = nan
		}
		fc.Members[m].Values[forecast.RainMM] = rain
	}
	cloud := make(forecast.Series, 24)
	for i := range cloud {
		cloud[i] = 100
	}
	fc.Members[2].Values[forecast.CloudPct] = cloud
	fc.Fill()
	h := fc.Hours
	if got := h[0].Get(forecast.HumidityPct); math.Abs(got.V-71.1) > 0.3 {
		t.Errorf("humidity is %+v, want 71 %% (8.72 of 12.27 hPa)", got)
	}
	// 12 to 13 UTC at 52 N on 9 April: the sun stands at 45 to 46 degrees.
	if got := h[0].Get(forecast.ShortwaveWM2); math.Abs(got.V-720) > 20 {
		t.Errorf("clear-sky radiation is %+v, want about 720", got)
	}
	for hour, want := range map[int]unit.Opt{1: {}, 3: unit.Some(77), 11: unit.Some(0), 12: unit.Some(0)} {
		if got := h[hour].Get(forecast.ShortwaveWM2); got != want {
			t.Errorf("radiation in hour %d is %+v, want %+v", hour, got, want)
		}
	}
	for hour, want := range map[int]unit.Opt{0: unit.Some(0.5), 2: unit.Some(0.9), 5: unit.Some(0), 6: {}} {
		if got := h[hour].Get(forecast.RainChance); got != want {
			t.Errorf("chance in hour %d is %+v, want %+v", hour, got, want)
		}
	}
	if h[0].Get(forecast.WindMS).Known || h[0].Get(forecast.ThunderChance).Known {
		t.Error("what can't be computed became known")
	}
	source := func(hour int, v forecast.Variable) string { return fc.Sources[h[hour].From[v]].Feed }
	if source(0, forecast.AirC) != "a" || source(0, forecast.HumidityPct) != forecast.Computed ||
		source(3, forecast.ShortwaveWM2) != "a" {
		t.Errorf(
			"sources are %s, %s, %s",
			source(0, forecast.AirC),
			source(0, forecast.HumidityPct),
			source(3, forecast.ShortwaveWM2),
		)
	}
	sun := fc.Members[2].Values[forecast.ShortwaveWM2]
	if clear := h[0].Get(forecast.ShortwaveWM2).V; math.Abs(sun[0]-clear/4) > 1e-9 {
		t.Errorf("the overcast member gets %v W/m2, want a quarter of %v", sun[0], clear)
	}
	if sun := fc.Members[0].Values[forecast.ShortwaveWM2]; sun == nil || !math.IsNaN(sun[0]) || sun[12] != 0 {
		t.Errorf("the member without cloud gets %v, want 0 at night and unknown by day", sun)
	}
	before := len(fc.Sources)
	fc.Fill()
	if len(fc.Sources) != before {
		t.Error("filling twice adds a source twice")
	}
}

// A draft believes nothing until all of it is possible.
func TestDraft(t *testing.T) {
	src := forecast.Source{Feed: "a", FetchedAt: noon}
	for name, c := range map[string]struct {
		first time.Time
		hours int
	}{"half hour": {noon.Add(30 * time.Minute), 5}, "no hours": {noon, 0}, "too many": {noon, forecast.MaxHours + 1}} {
		if _, err := forecast.NewDraft(where, src, wet, c.first, c.hours); !errors.Is(err, fault.Invalid) {
			t.Errorf("%s: error is %v", name, err)
		}
	}
	for v := range forecast.NumVariables {
		lo, hi := v.Range()
		for x, ok := range map[float64]bool{lo: true, hi: true, math.Nextafter(lo, -1e9): false,
			math.Nextafter(hi, 1e9): false, math.Inf(1): false} {
			d, err := forecast.NewDraft(where, src, wet, noon, 3)
			if err != nil {
				t.Fatal(err)
			}
			d.Put(7, v, x, "col", 4) // outside the hours, yet it tells of the document
			d.Put(1, v, x, "col", 5)
			_, err = d.Done()
			if ok != (err == nil) ||
				(!ok && (!errors.Is(err, fault.Invalid) || !strings.Contains(err.Error(), "col[5]") ||
					!strings.Contains(err.Error(), "col[4]"))) {
				t.Errorf("%v of %v: error is %v", v, x, err)
			}
		}
	}
	d, err := forecast.NewDraft(where, src, wet, noon, 3)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 10000 {
		d.Put(i, forecast.AirC, 999, "col", i)
	}
	if _, err := d.Done(); err == nil || len(err.Error()) > 5000 {
		t.Errorf("the error of a shifted column has %d characters", len(fmt.Sprint(err)))
	}
	if i, ok := d.Index(noon.Add(179 * time.Minute)); !ok || i != 2 {
		t.Errorf("the last minute lies in hour %d, %v", i, ok)
	}
	for _, out := range []time.Time{noon.Add(-1), noon.Add(3 * time.Hour)} {
		if _, ok := d.Index(out); ok {
			t.Errorf("%v lies within the draft", out)
		}
	}
}

// Members are laid beside the hours, wherever they begin.
func TestAddMembers(t *testing.T) {
	for shift := -5; shift <= 5; shift++ {
		fc := made(t, "a", noon, 4, wet, func(int, forecast.Variable) float64 { return 0 })
		m := []forecast.Member{{Name: "control"}, {Name: "member01"}}
		m[1].Values[forecast.AirC] = forecast.Series{10, 11, 12, 13}
		err := fc.AddMembers(noon.Add(time.Duration(shift)*time.Hour), m)
		if shift <= -4 || shift >= 4 {
			if !errors.Is(err, fault.Invalid) {
				t.Errorf("members %d hours off: error is %v", shift, err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		for i, got := range fc.Members[1].Values[forecast.AirC] {
			want := math.NaN()
			if j := i - shift; j >= 0 && j < 4 {
				want = float64(10 + j)
			}
			if got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
				t.Errorf("members %d hours off: hour %d gets %v, want %v", shift, i, got, want)
			}
		}
		if fc.Members[0].Values[forecast.AirC] != nil {
			t.Error("a wholly unknown series became known")
		}
	}
	if err := (&forecast.Forecast{Cell: place.Cell{}}).AddMembers(noon, nil); !errors.Is(err, fault.Invalid) {
		t.Errorf("members without hours: %v", err)
	}
}
