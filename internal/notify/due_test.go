package notify

import (
	"testing"
	"testing/quick"
	"time"

	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

var usual = pour.Alerts{LeadMin: 90, EveningAt: 19 * 60, QuietUntil: 4*60 + 30}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func at(t *testing.T, s string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestTimes(t *testing.T) {
	for _, c := range []struct {
		name, zone, start, evening, morning string
		alerts                              pour.Alerts
	}{
		{"an ordinary day", "America/Los_Angeles", "2026-11-26T07:05:00-08:00",
			"2026-11-25T19:00:00-08:00", "2026-11-26T05:35:00-08:00", usual},
		{"a lead that reaches into the quiet time", "America/Los_Angeles", "2026-06-26T05:30:00-07:00",
			"2026-06-25T19:00:00-07:00", "2026-06-26T04:30:00-07:00", usual},
		{"a lead that reaches into the day before", "Europe/Lisbon", "2026-06-26T06:00:00+01:00",
			"2026-06-25T19:00:00+01:00", "2026-06-26T04:30:00+01:00",
			pour.Alerts{LeadMin: 600, EveningAt: 19 * 60, QuietUntil: 4*60 + 30}},
		{"clocks go forward in the night between", "America/Los_Angeles", "2027-03-14T07:00:00-07:00",
			"2027-03-13T19:00:00-08:00", "2027-03-14T05:30:00-07:00", usual},
		{"clocks go back in the night between", "Europe/Lisbon", "2026-10-25T07:00:00+00:00",
			"2026-10-24T19:00:00+01:00", "2026-10-25T05:30:00+00:00", usual},
		{"the lead spans the hour that clocks repeat", "America/New_York", "2026-11-01T02:00:00-05:00",
			"2026-10-31T19:00:00-04:00", "2026-11-01T01:30:00-04:00", pour.Alerts{LeadMin: 90, EveningAt: 19 * 60}},
		{"quiet until a reading that clocks skip", "America/New_York", "2027-03-14T03:40:00-04:00",
			"2027-03-13T19:00:00-05:00", "2027-03-14T03:30:00-04:00",
			pour.Alerts{LeadMin: 90, EveningAt: 19 * 60, QuietUntil: 2*60 + 30}},
		{"a start within the quiet time", "Europe/Lisbon", "2026-07-26T04:00:00+01:00",
			"2026-07-25T19:00:00+01:00", "2026-07-26T02:30:00+01:00", usual},
		{"a zone off the whole hour", "Asia/Kathmandu", "2026-11-26T06:40:00+05:45",
			"2026-11-25T19:00:00+05:45", "2026-11-26T05:10:00+05:45", usual},
		{"an evening set within the quiet time", "Europe/Lisbon", "2026-06-26T08:00:00+01:00",
			"2026-06-25T04:30:00+01:00", "2026-06-26T06:30:00+01:00",
			pour.Alerts{LeadMin: 90, EveningAt: 60, QuietUntil: 4*60 + 30}},
	} {
		z := zone(t, c.zone)
		start := at(t, c.start)
		evening, morning := Times(c.alerts, unit.DateOf(start, z), start, z)
		if !evening.Equal(at(t, c.evening)) || !morning.Equal(at(t, c.morning)) {
			t.Errorf("%s: evening %s, morning %s; want %s, %s", c.name,
				evening.In(z).Format(time.RFC3339), morning.In(z).Format(time.RFC3339), c.evening, c.morning)
		}
	}
}

func TestNoWordInTheQuietTime(t *testing.T) {
	zones := []*time.Location{time.UTC, zone(t, "America/New_York"), zone(t, "Europe/Lisbon"),
		zone(t, "Australia/Lord_Howe"), zone(t, "Africa/Casablanca")}
	loud := func(t time.Time, a pour.Alerts, z *time.Location) bool {
		return !t.Before(unit.DateOf(t, z).At(a.QuietUntil, z))
	}
	f := func(minute uint32, lead uint16, evening, quiet uint16, zi uint8) bool {
		z := zones[int(zi)%len(zones)]
		a := pour.Alerts{LeadMin: int(lead) % 900, EveningAt: unit.Clock(evening % 1440),
			QuietUntil: unit.Clock(quiet % 720)}
		start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(minute%(2*525600)) * time.Minute)
		date := unit.DateOf(start, z)
		e, m := Times(a, date, start, z)
		soonest := start.Add(-time.Duration(a.LeadMin) * time.Minute)
		if !loud(start, a, z) { // a planned start is told of in time, whatever the hour
			return loud(e, a, z) && m.Equal(soonest)
		}
		return loud(e, a, z) && loud(m, a, z) && !m.Before(soonest) &&
			unit.DateOf(e, z) == date.AddDays(-1) && unit.DateOf(m, z) == date
	}
	if err := quick.Check(f, &quick.Config{MaxCount: 20000}); err != nil {
		t.Error(err)
	}
}

func TestKeys(t *testing.T) {
	d := unit.Date{Year: 2026, Month: 11, Day: 26}
	seen := map[string]bool{}
	for _, k := range []string{
		Key("p1", Evening, d, "r1"), Key("p2", Evening, d, "r1"), Key("p1", Morning, d, "r1"),
		Key("p1", Evening, d.AddDays(1), "r1"), Key("p1", Evening, d, "r2"),
		Key("p1", Nth(Change, 1), d, "r1"), Key("p1", Nth(Change, 2), d, "r1"),
	} {
		if seen[k] || seen[MessageID(k)] {
			t.Errorf("%s stands for two alerts", k)
		}
		seen[k], seen[MessageID(k)] = true, true
	}
	if Nth(Change, 1) != Change {
		t.Error("the first change has a number")
	}
	const id = "dryslot_0ce78011ff37fa7a0e12d112a46cba85"
	if got := MessageID("p1/evening/2026-11-26/r1"); got != id {
		t.Errorf("a message's id changed: %s", got)
	}
}
