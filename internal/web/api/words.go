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

// anyones is who an answer that belongs to no project is worded for: SI units,
// as its figures are in.
func (c *call) anyones() say.Reader { return say.Reader{Language: say.LanguageOf(c.accept, "en")} }

// sayEach words each of several sentences.
func sayEach(r say.Reader, ms []message.Message) []string {
	out := make([]string, len(ms))
	for i, m := range ms {
		out[i] = r.Say(m)
	}
	return out
}
