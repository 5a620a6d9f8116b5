package place

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"dryslot/internal/fault"
)

func TestCellOfAPlace(t *testing.T) {
	for _, c := range []struct {
		lat, lon float64
		key      string
	}{
		{47.25, -122.44, "47.25,-122.45"}, {47.2251, -122.426, "47.25,-122.45"}, {0, 0, "0.00,0.00"},
		{-0.01, -0.01, "0.00,0.00"},
		{10, 179.99, "10.00,-180.00"}, {10, -180, "10.00,-180.00"}, {10, 180, "10.00,-180.00"}, {90, 0, "90.00,0.00"},
		{-90, 0, "-90.00,0.00"},
	} {
		if got := CellOf(c.lat, c.lon).Key(); got != c.key {
			t.Errorf("%v, %v: %s, not %s", c.lat, c.lon, got, c.key)
		}
	}
}

func TestACellHoldsItsCentreAndIsNear(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 5000 {
		lat, lon := r.Float64()*180-90, r.Float64()*360-180
		c := CellOf(lat, lon)
		if CellOf(c.Latitude, c.Longitude) != c {
			t.Fatalf("%v, %v: the centre of %v lies in %v", lat, lon, c, CellOf(c.Latitude, c.Longitude))
		}
		if d := math.Abs(math.Remainder(c.Longitude-lon, 360)); math.Abs(c.Latitude-lat) > CellSide/2+1e-9 ||
			d > CellSide/2+1e-9 {
			t.Fatalf("%v, %v: cell %v is too far", lat, lon, c)
		}
		if c.Longitude < -180 || c.Longitude >= 180 || c.Latitude < -90 || c.Latitude > 90 {
			t.Fatalf("%v, %v: %v is off the map", lat, lon, c)
		}
	}
}

func TestZoneAndUnits(t *testing.T) {
	for _, c := range []struct {
		lat, lon    float64
		zone, units string
	}{
		{47.25, -122.44, "America/Los_Angeles", UnitsUS}, {39.77, -86.16, "America/Indiana/Indianapolis", UnitsUS},
		{33.45, -112.07, "America/Phoenix", UnitsUS}, {21.31, -157.86, "Pacific/Honolulu", UnitsUS},
		{18.4, -66.1, "America/Puerto_Rico", UnitsUS}, {49.28, -123.12, "America/Vancouver", UnitsMetric},
		{53.35, -6.26, "Europe/Dublin", UnitsMetric}, {-34.93, 138.6, "Australia/Adelaide", UnitsMetric},
		{1.87, -157.43, "Pacific/Kiritimati", UnitsMetric}, {27.7, 85.32, "Asia/Kathmandu", UnitsMetric},
	} {
		zone, err := Zone(c.lat, c.lon)
		if err != nil || zone != c.zone {
			t.Errorf("%v, %v: %s, %v, not %s", c.lat, c.lon, zone, err, c.zone)
		}
		if got := UnitsOf(c.zone); got != c.units {
			t.Errorf("%s: %s", c.zone, got)
		}
	}
	if UnitsOf("US/Eastern") != UnitsUS || UnitsOf("") != UnitsMetric || UnitsOf("America/Toronto") != UnitsMetric {
		t.Error("units by name")
	}
}

func TestEveryPlaceHasAZone(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	for range 2000 {
		lat, lon := r.Float64()*180-90, r.Float64()*360-180
		if zone, err := Zone(lat, lon); err != nil || zone == "" {
			t.Fatalf("%v, %v: %q, %v", lat, lon, zone, err)
		}
	}
	for _, c := range [][2]float64{{90, 0}, {-90, 0}, {0, 180}, {0, -180}, {-90, -180}} {
		if zone, err := Zone(c[0], c[1]); err != nil {
			t.Errorf("%v: %q, %v", c, zone, err)
		}
	}
}

func TestBadCoordinatesAreNamed(t *testing.T) {
	_, err := Zone(math.NaN(), 200)
	var f *fault.Error
	if !errors.As(err, &f) || !errors.Is(err, fault.Invalid) || len(f.Fields) != 2 {
		t.Errorf("got %v", err)
	}
}
