package today

import (
	"slices"
	"time"

	"dryslot/internal/concrete"
	"dryslot/internal/history"
	"dryslot/internal/message"
	"dryslot/internal/pour"
	"dryslot/internal/unit"
)

// Threat is what threatens besides rain and frost, or asks for haste.
type Threat string

// The threats.
const (
	Drying  Threat = "drying"  // evaporation passes its limit on open concrete
	Gusts   Threat = "gusts"   // sheets lift
	Thunder Threat = "thunder" // while people are at work
	Earlier Threat = "earlier" // a pad can be finished sooner than planned
)

// Hazard is one threat of the coming hours.
type Hazard struct {
	Threat Threat
	Pads   []string
	From   time.Time
	Until  time.Time // zero: not known
	Why    message.Message
}

// Codes of the hazards.
const (
	HazardDrying  message.Code = "hazard_drying"  // pads, rate_kg_m2_h, limit_kg_m2_h
	HazardGusts   message.Code = "hazard_gusts"   // pads, gust_m_s, from_at
	HazardThunder message.Code = "hazard_thunder" // chance, until_at
	HazardEarlier message.Code = "hazard_earlier" // pads, from_at, sooner_min
)

// Air is what is forecast of one hour besides rain. An unknown value is unknown.
type Air struct {
	Start   time.Time
	GustMS  unit.Opt // at 10 m
	Thunder unit.Opt // chance
}

const (
	// liftsSheets is the gust, in m/s at 10 m, from which weighted sheets are taken
	// to lift: a strong breeze, Beaufort 6, in which umbrellas are hard to hold
	// (World Meteorological Organization's table, from memory; judgement for sheets).
	liftsSheets = 10.8
	// gustsAhead is how long before gusts sheets are weighted (judgement).
	gustsAhead = 2 * time.Hour
	// thunderAhead and thunderWait are how long before thunder work stops, and how
	// long it rests after the last: 30 minutes (US National Weather Service's rule,
	// from memory).
	thunderAhead = time.Hour
	thunderWait  = 30 * time.Minute
	// soonerBy is how much sooner than planned a pad must be ready for an alert
	// (judgement: a crew placing the next pad has to break off).
	soonerBy = 20 * time.Minute
)

// hazards lists what threatens now and in the next hours.
func (d *day) hazards() []Hazard {
	var out []Hazard
	for _, h := range [...]func() (Hazard, bool){d.drying, d.gusts, d.thunder, d.earlier} {
		if x, ok := h(); ok {
			out = append(out, x)
		}
	}
	return out
}

// drying looks at pads that lie open, unfinished and soft.
func (d *day) drying() (out Hazard, ok bool) {
	worst := 0.0
	for i := range d.State.Pads {
		p := &d.State.Pads[i]
		s, known := d.slabs[p.Pad]
		if p.Phase != history.Soft || p.Covered || p.FinishedAt != nil || !known || p.PlacedAt == nil {
			continue
		}
		age := int(d.Now.Sub(s.PlacedFrom) / time.Hour)
		for h := age; h <= age+1 && h < len(s.Evaporation); h++ { // now, and within the hour
			if rate := s.Evaporation[h]; rate >= concrete.EvaporationAct {
				worst = max(worst, rate)
				if !slices.Contains(out.Pads, p.Pad) {
					out.Pads = append(out.Pads, p.Pad)
				}
				out.Until = later(out.Until, s.InitialSet)
			}
		}
	}
	out.Threat, out.From = Drying, d.Now
	out.Why = message.New(HazardDrying, message.Names("pads", out.Pads), message.Evaporation("rate", worst),
		message.Evaporation("limit", concrete.EvaporationAct))
	return out, len(out.Pads) > 0
}

// gusts looks at pads under sheets.
func (d *day) gusts() (out Hazard, ok bool) {
	for i := range d.State.Pads {
		if p := &d.State.Pads[i]; p.Covered && p.Cover != pour.Blanket {
			out.Pads = append(out.Pads, p.Pad)
		}
	}
	worst := 0.0
	for _, a := range d.Air {
		if !a.Start.Add(time.Hour).After(d.Now) || !a.GustMS.Known || a.GustMS.V < liftsSheets {
			if !out.From.IsZero() {
				break // they are over
			}
			continue
		}
		if out.From.IsZero() {
			out.From = later(a.Start, d.Now)
		}
		worst, out.Until = max(worst, a.GustMS.V), a.Start.Add(time.Hour)
	}
	out.Threat = Gusts
	out.Why = message.New(HazardGusts, message.Names("pads", out.Pads), message.Speed("gust", worst),
		message.At("from", out.From))
	return out, len(out.Pads) > 0 && !out.From.IsZero() && !out.From.After(d.Now.Add(gustsAhead))
}

// thunder looks at the next hour of a day under way.
func (d *day) thunder() (out Hazard, ok bool) {
	if d.ThunderFrom <= 0 || d.phase() != UnderWay {
		return out, false
	}
	chance := 0.0
	for _, a := range d.Air {
		if end := a.Start.Add(time.Hour); a.Thunder.Known && a.Thunder.V >= d.ThunderFrom && end.After(d.Now) &&
			a.Start.Before(d.Now.Add(thunderAhead)) {
			chance, out.Until = max(chance, a.Thunder.V), end.Add(thunderWait)
		}
	}
	out.Threat, out.From = Thunder, d.Now
	out.Why = message.New(HazardThunder, message.Chance("", chance), message.At("until", out.Until))
	return out, chance > 0
}

// earlier looks at placed pads whose finishing window opens sooner after placing
// than the last plan said, before it does. The crew's turn at a pad may come long after
// the window opens, and says nothing of it.
func (d *day) earlier() (out Hazard, ok bool) {
	most := time.Duration(0)
	for _, x := range d.Steps {
		p, s := d.pad(x.Pad), d.slabs[x.Pad]
		if p == nil || p.PlacedAt == nil || p.Assumed || p.FinishedAt != nil || p.Phase != history.Soft ||
			x.Opens.IsZero() || !s.FinishFrom.After(d.Now) || !sameDate(x.PlaceFrom, *p.PlacedAt, d.Zone) {
			continue
		}
		sooner := x.Opens.Sub(x.PlaceFrom) - s.FinishFrom.Sub(s.PlacedFrom)
		if sooner < soonerBy {
			continue
		}
		out.Pads, most = append(out.Pads, x.Pad), max(most, sooner)
		if out.From.IsZero() || s.FinishFrom.Before(out.From) {
			out.From = s.FinishFrom
		}
		out.Until = later(out.Until, s.FinishUntil)
	}
	out.Threat = Earlier
	out.Why = message.New(HazardEarlier, message.Names("pads", out.Pads), message.At("from", out.From),
		message.Duration("sooner", most))
	return out, len(out.Pads) > 0
}
