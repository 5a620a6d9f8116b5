package emulate

import (
	"cmp"
	"compress/gzip"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"
	"time"
)

// Region is the stations of one climate: the files that share the first part
// of their name, up to the first underscore.
type Region struct {
	Name     string
	Stations []*Station
	Noise    Noise
	Reached  []Target // the skills that the emulated forecasts have in the blocks of days that they are fitted on
	Held     []Target // and in the other ones
	Notes    []string // what was left out or guessed, and why

	step float64 // mm that the gauges count in
}

// ZoneOf returns the zone of a place.
type ZoneOf func(latitude, longitude float64) (*time.Location, error)

// Load reads every file NAME_hourly.csv or NAME_hourly.csv.gz of a folder, with
// NAME's region and, where it is there, REGION_stations.csv, fits the noise and
// returns the regions by name. A station that can't be used is noted; a file
// that can't be read is an error naming it. A station whose place is not known
// is taken to lie at 45 degrees north on the meridian of its own clock. Where
// only is given, only the files whose names begin with one of these are read.
func Load(folder fs.FS, zone ZoneOf, only ...string) ([]*Region, error) {
	names, err := fs.Glob(folder, "*_hourly.csv*")
	if err != nil {
		return nil, fmt.Errorf("emulate: %w", err)
	}
	if len(only) > 0 {
		names = slices.DeleteFunc(names, func(name string) bool {
			return !slices.ContainsFunc(only, func(o string) bool { return strings.HasPrefix(name, o) })
		})
	}
	if len(names) == 0 {
		return nil, fmt.Errorf("emulate: no file named NAME_hourly.csv or NAME_hourly.csv.gz")
	}
	slices.Sort(names)
	records := map[string][]*Record{}
	var order []string
	for _, name := range names {
		region, _, _ := strings.Cut(path.Base(name), "_")
		places, err := placesOf(folder, region)
		if err != nil {
			return nil, err
		}
		var rs []*Record
		if err := open(folder, name, func(r io.Reader) (err error) {
			rs, err = Read(r, places)
			return err
		}); err != nil {
			return nil, err
		}
		if _, ok := records[region]; !ok {
			order = append(order, region)
		}
		records[region] = append(records[region], rs...)
	}
	var out []*Region
	for _, name := range order {
		r, err := newRegion(name, records[name], zone)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

func placesOf(folder fs.FS, region string) (places map[string]Place, err error) {
	for _, name := range []string{region + "_stations.csv", region + "_stations.csv.gz"} {
		if _, err := fs.Stat(folder, name); err != nil {
			continue
		}
		err := open(folder, name, func(r io.Reader) (err error) { places, err = ReadPlaces(r); return err })
		return places, err
	}
	return nil, nil
}

// open hands a file, unpacked, to read.
func open(folder fs.FS, name string, read func(io.Reader) error) error {
	f, err := folder.Open(name)
	if err != nil {
		return fmt.Errorf("emulate: %w", err)
	}
	defer f.Close() //nolint:errcheck // read only
	var r io.Reader = f
	if strings.HasSuffix(name, ".gz") {
		if r, err = gzip.NewReader(f); err != nil {
			return fmt.Errorf("emulate: %s: %w", name, err)
		}
	}
	if err := read(r); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

func newRegion(name string, records []*Record, zone ZoneOf) (*Region, error) {
	r := &Region{Name: name}
	for _, x := range records {
		if !x.Placed {
			x.Latitude, x.Longitude = 45, 15*x.clock
			r.Notes = append(r.Notes, fmt.Sprintf("%s: no coordinates; taken as 45 N, %.0f E", x.Station, x.Longitude))
		}
	}
	group := Neighbours(records)
	for i, x := range records {
		loc, err := zone(x.Latitude, x.Longitude)
		if err != nil {
			return nil, fmt.Errorf("emulate: station %s: %w", x.Station, err)
		}
		s, err := NewStation(x, loc, group[i])
		if err != nil {
			r.Notes = append(r.Notes, err.Error())
			continue
		}
		if x.Doubtful > 0 {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: %d readings that cannot be, taken as unknown", x.Station,
				x.Doubtful))
		}
		r.Stations = append(r.Stations, s)
	}
	if len(r.Stations) == 0 {
		return nil, fmt.Errorf("emulate: region %s has no station that can be used: %s", name,
			strings.Join(r.Notes, "; "))
	}
	r.step = gaugeStep(r.Stations)
	for _, s := range r.Stations {
		s.shared = hash(name)
		s.seasons(peersOf(s, r.Stations))
	}
	r.Noise, r.Reached, r.Held = FitNoise(r.Stations)
	return r, nil
}

// fewYears is how many years of days a forecast draws from at least, where the
// region has them: with fewer it would lean on a handful (judgement).
const fewYears = 4

// peersOf returns the records whose days can stand in for a station's: its own of
// every year, and those of the nearest other stations while these are few.
func peersOf(s *Station, all []*Station) []*Station {
	var own, others []*Station
	for _, o := range all {
		if o.Station == s.Station {
			own = append(own, o)
		} else {
			others = append(others, o)
		}
	}
	slices.SortStableFunc(others, func(a, b *Station) int {
		return cmp.Compare(distanceKM(s.Record, a.Record), distanceKM(s.Record, b.Record))
	})
	return append(own, others[:min(len(others), max(0, fewYears-len(own)))]...)
}

// SolarZone returns a zone without clock changes, an hour ahead of the sun as
// summer time is: for where no map of zones is at hand.
func SolarZone(_, longitude float64) (*time.Location, error) {
	return time.FixedZone("solar", (int(math.Round(longitude/15))+1)*3600), nil
}
