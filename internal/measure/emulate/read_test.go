package emulate

import (
	"math"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

const customaryHead = "origin,year,month,day,hour,temp,dewp,humid,wind_speed,precip,time_hour\n"
const metricHead = "station,year,month,day,hour,rain,temp,rhum,wdsp\n"

func TestReadCustomary(t *testing.T) {
	rs, err := Read(strings.NewReader(customaryHead+
		"EWR,2013,7,4,1,50,40,90,10,0.01,2013-07-04T05:00:00Z\n"+
		"EWR,2013,7,4,0,32,30,101,1048.36,NA,2013-07-04T04:00:00Z\n"+
		"EWR,2013,7,4,4,68,30,80,20,0,2013-07-04T08:00:00Z\n"), nil)
	if err != nil {
		t.Fatal(err)
	}
	r := rs[0]
	if len(rs) != 1 || r.Hours() != 5 || !r.Start.Equal(time.Date(2013, 7, 4, 4, 0, 0, 0, time.UTC)) || !r.Placed ||
		r.Latitude != 40.69 {
		t.Fatalf("%+v", r)
	}
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
	near("air at 32 F", r.AirC[0], 0)
	near("air at 50 F", r.AirC[1], 10)
	near("air filled", r.AirC[2], 10+10.0/3)
	near("rain of 0.01 in", r.RainMM[1], 0.254)
	near("wind of 10 mph", r.WindMS[1], 4.4704)
	near("humidity of 101", r.Humidity[0], 100)
	if !math.IsNaN(r.WindMS[0]) || r.Doubtful != 1 {
		t.Errorf("a wind of 1,048 mph was believed: %v m/s, %d doubtful", r.WindMS[0], r.Doubtful)
	}
	if !math.IsNaN(r.RainMM[0]) || !math.IsNaN(r.RainMM[2]) {
		t.Errorf("missing rain was filled: %v", r.RainMM)
	}
	near("winter clock", r.clock, -4)
}

func TestReadMetric(t *testing.T) {
	rs, err := Read(
		strings.NewReader(metricHead+"B,2017,1,1,0,0.4,4.4,94,5\nA,2017,1,1,23,0,4.4,94,5\n"),
		map[string]Place{"B": {54, -7, 78}},
	)
	if err != nil {
		t.Fatal(err)
	}
	if len(rs) != 2 || rs[0].Station != "A" || rs[0].Placed || !rs[1].Placed || rs[1].ElevM != 78 ||
		rs[1].RainMM[0] != 0.4 {
		t.Fatalf("%+v", rs)
	}
	if got, want := rs[1].WindMS[0], 5*1852.0/3600; math.Abs(got-want) > 1e-12 {
		t.Errorf("5 knots are %v m/s, want %v", got, want)
	}
}

func TestReadRefuses(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"nothing":        {"", "header"},
		"another header": {"a,b\n1,2\n", "neither form"},
		"no rows":        {metricHead, "no rows"},
		"not a number":   {metricHead + "A,2017,1,1,0,wet,4,94,5\n", "line 2"},
		"infinite":       {metricHead + "A,2017,1,1,0,Inf,4,94,5\n", "not finite"},
		"no such hour":   {metricHead + "A,2017,1,1,24,0,4,94,5\n", "no hour"},
		"unknown year":   {metricHead + "A,NA,1,1,2,0,4,94,5\n", "no hour"},
		"twice":          {metricHead + "A,2017,1,1,2,0,4,94,5\nA,2017,1,1,2,0,4,94,5\n", "two rows"},
		"far apart":      {metricHead + "A,1817,1,1,2,0,4,94,5\nA,2017,1,1,2,0,4,94,5\n", "40 years"},
		"bad time":       {customaryHead + "EWR,2013,7,4,1,50,40,90,10,0.01,yesterday\n", "line 2"},
		"short row":      {metricHead + "A,2017\n", "wrong number of fields"},
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := Read(strings.NewReader(c.text), nil); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want an error with %q", err, c.want)
			}
		})
	}
}

func TestLoadRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		files fstest.MapFS
		want  string
	}{
		"empty folder": {fstest.MapFS{}, "no file"},
		"not gzip":     {fstest.MapFS{"x_hourly.csv.gz": {Data: []byte("plain")}}, "x_hourly.csv.gz"},
		"too short": {fstest.MapFS{"x_2017_hourly.csv": {Data: []byte(metricHead + "A,2017,1,1,2,0,4,94,5\n")}},
			"no station that can be used"},
		"bad place": {fstest.MapFS{"x_hourly.csv": {Data: []byte(metricHead)},
			"x_stations.csv": {Data: []byte("station,height,latitude,longitude\nA,1,95,0\n")}}, "no place"},
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := Load(c.files, SolarZone); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want an error with %q", err, c.want)
			}
		})
	}
}

func TestNeighboursAreOneStation(t *testing.T) {
	for _, r := range mustRegions(t) {
		groups := map[int][]string{}
		for _, s := range r.Stations {
			groups[s.Group] = append(groups[s.Group], s.Station)
		}
		switch r.Name {
		case "newyork":
			if len(groups) != 1 {
				t.Errorf("the airports of one city are %d stations: %v", len(groups), groups)
			}
		case "ireland":
			if len(groups) < 10 || len(groups) >= len(r.Stations) {
				t.Errorf("%d stations are %d: %v", len(r.Stations), len(groups), groups)
			}
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add(customaryHead + "EWR,2013,7,4,1,50,40,90,10,0.01,2013-07-04T05:00:00Z\n")
	f.Add(metricHead + "A,2017,1,1,2,0,4,94,5\n")
	f.Fuzz(func(t *testing.T, text string) {
		rs, err := Read(strings.NewReader(text), nil)
		if err != nil {
			return
		}
		for _, r := range rs {
			for _, x := range r.RainMM {
				if x < 0 || x > rainMax {
					t.Fatalf("rain of %v mm was believed", x)
				}
			}
		}
	})
}
