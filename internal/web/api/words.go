package api

import (
	"time"

	"dryslot/internal/message"
	"dryslot/internal/place"
	"dryslot/internal/pour"
	"dryslot/internal/say"
	"dryslot/internal/unit"
)

// reader is who an answer of a project is worded for.
func (s *server) reader(c *call, p pour.Project, zone *time.Location) say.Reader {
	r := say.Asked(c.accept, p.Language, p.Units == place.UnitsUS)
	r.Zone, r.Today = zone, unit.DateOf(s.Clock(), zone)
	return r
}

// sayEach words each of several sentences.
func sayEach(r say.Reader, ms []message.Message) []string {
	out := make([]string, len(ms))
	for i, m := range ms {
		out[i] = r.Say(m)
	}
	return out
}
