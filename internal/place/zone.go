package place

import (
	"strconv"
	"strings"
	"sync"

	"github.com/ringsaturn/tzf"

	"dryslot/internal/fault"
	"dryslot/internal/message"
)

// finder loads the map of the world's time zones once, when it is first asked
// for: about a second, kept in memory since then. The map never changes.
var finder = sync.OnceValues(tzf.NewDefaultFinder)

// Zone returns the IANA name of the time zone at a place, such as
// America/Denver. lat is -90 to 90 and lon -180 to 180 degrees, north and east
// positive; outside of that, or where no zone is known, an Invalid fault names
// the field. Borders are simplified: close to one the neighbour's zone may be
// returned, so a builder can name the zone instead. The first call takes about
// a second.
func Zone(lat, lon float64) (name string, err error) {
	var bad fault.List
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	if !(lat >= -90 && lat <= 90) {
		bad.Break("latitude", number(lat), fault.Range(-90, 90, ""))
	}
	if !(lon >= -180 && lon <= 180) {
		bad.Break("longitude", number(lon), fault.Range(-180, 180, ""))
	}
	if err := bad.Broken(NoZone); err != nil {
		return "", err
	}
	f, err := finder()
	if err != nil {
		return "", fault.Wrap(fault.Unavailable, "the map of time zones can't be loaded", err)
	}
	if name = f.GetTimezoneName(lon, lat); name == "" {
		bad.Break("latitude", number(lat), fault.RuleOf(fault.ZoneNotFound))
		bad.Break("longitude", number(lon), fault.RuleOf(fault.ZoneNotFound))
		return "", bad.Broken(NoZone)
	}
	return name, nil
}

// NoZone is the code of coordinates without a time zone.
const NoZone message.Code = "no_zone"

// The systems of units.
const (
	UnitsUS     = "us"
	UnitsMetric = "metric"
)

// UnitsOf returns the units that builders use in an IANA zone: us where the
// zone lies in the United States or their territories, else metric.
func UnitsOf(zone string) string {
	if strings.HasPrefix(zone, "US/") ||
		strings.HasPrefix(zone, "America/Indiana/") ||
		strings.HasPrefix(zone, "America/Kentucky/") ||
		strings.HasPrefix(zone, "America/North_Dakota/") {
		return UnitsUS
	}
	switch zone { // zones with country code US, PR, VI, GU, MP or AS in the tz database, and their old names
	case "America/New_York", "America/Detroit", "America/Chicago", "America/Menominee", "America/Denver",
		"America/Boise", "America/Phoenix", "America/Los_Angeles", "America/Anchorage", "America/Juneau",
		"America/Sitka", "America/Metlakatla", "America/Yakutat", "America/Nome", "America/Adak", "Pacific/Honolulu",
		"America/Puerto_Rico", "America/St_Thomas", "Pacific/Guam", "Pacific/Saipan", "Pacific/Pago_Pago",
		"America/Indianapolis", "America/Fort_Wayne", "America/Louisville", "America/Knox_IN", "America/Shiprock",
		"America/Atka":
		return UnitsUS
	}
	return UnitsMetric
}
