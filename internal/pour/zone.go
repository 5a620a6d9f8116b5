package pour

import (
	"fmt"
	"time"

	"dryslot/internal/fault"
)

// Location returns the project's time zone. The error is fault.Invalid, of a
// zone that is not known: a project is never kept with one.
func (p Project) Location() (*time.Location, error) {
	z, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		var bad fault.List
		bad.Break("time_zone", p.TimeZone, fault.RuleOf(fault.ZoneUnknown))
		return nil, fmt.Errorf("pour: %w: %w", bad.Broken(ProjectBreaksRule), err)
	}
	return z, nil
}
