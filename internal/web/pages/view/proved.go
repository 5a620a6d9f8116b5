package view

import (
	"fmt"
	"html/template"
	"math"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/message"
	"dryslot/internal/unit"
	"dryslot/internal/web/draw"
)

// Proof is how earlier chances of rain proved at a project's place.
type Proof struct {
	Told    bool   // a forecast has come, and it states chances of rain
	Of      string // whose chances of what, as they are counted
	Wet     forecast.WetEvent
	Reports [forecast.NumLeads]forecast.LeadReport
}

// Proved is the page of how far the forecasts can be believed here.
type Proved struct {
	Frame
	Headline string
	Lines    []string
	Groups   []ProofGroup
	Leads    *Table
	Fixes    []string // what is done about it
	Notes    []string
}

func (Proved) template() string { return "proved" }

// ProofGroup is the chances stated about as far ahead.
type ProofGroup struct {
	Caption     string
	Lines       []string
	Folded      bool // the table can be opened; the first one stands open
	ChartNarrow template.HTML
	ChartWide   template.HTML
	Table       Table
}

// When there is enough to say something. Judgement.
const (
	// enoughHours are ten days': rain comes in spells, and in fewer days there
	// are too few of them.
	enoughHours = 240
	// enoughLike is how many hours of about the same stated chance a share needs.
	enoughLike = 30
)

// shown are the ranges of lead time whose record the page shows.
func shown() []struct {
	band int
	code message.Code
} {
	return []struct {
		band int
		code message.Code
	}{{eveningBand, ProvedEvening}, {0, ProvedMorning}, {4, ProvedDays}}
}

// eveningBand is the range of chances stated 12 to 24 hours ahead.
const eveningBand = 2

// NewProved makes the page.
func NewProved(s Setting, p Proof) Proved {
	page := Proved{Frame: s.frame(s.say("page_track_record"), "")}
	if !p.Told {
		page.Headline = s.say(ProvedNothing)
		page.Lines = []string{s.say(ProvedOnce)}
		return page
	}
	evening := p.Reports[eveningBand]
	here := message.Count("hours", evening.Here.Pairs)
	if evening.Here.Pairs >= enoughHours {
		page.Headline = s.proved(evening.HereBins, evening.Here)
		page.Lines = append(page.Lines, s.say(ProvedOver, here)+" "+s.bias(evening.Here))
	} else {
		page.Headline = s.say(ProvedEarly, here)
		page.Lines = append(page.Lines, s.say(ProvedNeeds, message.Count("hours", enoughHours)))
	}
	for _, g := range shown() {
		if made, ok := s.proofGroup(p.Reports[g.band], g.band, s.say(g.code)); ok {
			made.Folded = len(page.Groups) > 0
			page.Groups = append(page.Groups, made)
		}
	}
	page.Leads = s.leadTable(p.Reports)
	page.Fixes = s.fixes(p.Reports)
	page.Notes = []string{s.rainMeans(p.Wet), s.say(NoteAgainst), s.say(NoteAlike),
		s.say(NoteCounted, message.Text("text", p.Of))}
	return page
}

// proved says the one thing: how often rain came when the stated chance was
// about one that makes a builder think.
func (s Setting) proved(bins []forecast.Bin, all forecast.Score) string {
	const thought = 0.3
	best := -1
	for i, b := range bins {
		if b.Pairs >= enoughLike && b.Chance >= 0.05 &&
			(best < 0 || math.Abs(b.Chance-thought) < math.Abs(bins[best].Chance-thought)) {
			best = i
		}
	}
	if best < 0 {
		mean := told(bins)
		return s.say(ProvedOnAverage, message.Chance("told", mean), message.Chance("came", max(0, mean-all.Bias)))
	}
	return s.say(ProvedOf, message.Chance("told", bins[best].Chance), message.Chance("came", bins[best].Frequency()))
}

func told(bins []forecast.Bin) float64 {
	n, sum := 0.0, 0.0
	for _, b := range bins {
		n, sum = n+float64(b.Pairs), sum+float64(b.Pairs)*b.Chance
	}
	return sum / max(1, n)
}

// bias says whether the feed states too much or too little, all in all.
func (s Setting) bias(score forecast.Score) string {
	const worthSaying = 0.015
	switch {
	case score.Bias > worthSaying:
		return s.say(ProvedOften, message.Chance("", score.Bias))
	case score.Bias < -worthSaying:
		return s.say(ProvedSeldom, message.Chance("", -score.Bias))
	}
	return s.say(ProvedEven)
}

// proofGroup shows one band: this place's, else all places' where they have
// enough.
func (s Setting) proofGroup(r forecast.LeadReport, band int, caption string) (g ProofGroup, ok bool) {
	g.Caption = caption
	bins, score := r.HereBins, r.Here
	hours := func(n int) message.Figure { return message.Count("hours", n) }
	switch {
	case score.Pairs >= enoughHours:
		g.Lines = append(g.Lines, s.say(ProvedHere, hours(score.Pairs)))
	case r.Everywhere.Pairs >= enoughHours && r.Everywhere.Pairs > score.Pairs:
		bins, score = r.AllBins, r.Everywhere
		g.Lines = append(g.Lines, s.say(ProvedEverywhere, message.Count("here", r.Here.Pairs), hours(score.Pairs)))
	default:
		return g, false
	}
	var points []draw.ProofPoint
	few := false
	for _, b := range bins {
		x := draw.ProofPoint{Told: b.Chance, Came: b.Frequency(), Hours: b.Pairs, Few: b.Pairs < enoughLike}
		points = append(points, x)
		came := s.chance(x.Came)
		if x.Few {
			few = true
			came = s.say(ProvedFew, message.Chance("", x.Came))
		}
		g.Table.Rows = append(g.Table.Rows, []string{s.chance(x.Told), came, s.count(x.Hours)})
	}
	if few {
		g.Lines = append(g.Lines, s.say(ProvedRings, hours(enoughLike)))
	}
	g.Table.Caption, g.Table.Head = caption, s.labels(ProvedToldHead, ProvedCameInHead, ProvedHoursHead)
	id := fmt.Sprintf("proof-%d", band)
	g.ChartNarrow = draw.Proof(id, points, s.Reader, draw.Phone())
	g.ChartWide = draw.Proof(id, points, s.Reader, draw.Desk())
	return g, true
}

// leadTable gives the scores by lead time; nil where nothing was counted.
func (s Setting) leadTable(reports [forecast.NumLeads]forecast.LeadReport) *Table {
	t := Table{Caption: s.say(ProvedLeadsHead), Head: s.labels(ProvedAheadHead, ProvedHoursHead, ProvedToldHead,
		ProvedCameHead, ProvedOffHead, ProvedBrierHead)}
	some := false
	for i, r := range reports {
		row := []string{s.lead(i), s.count(r.Here.Pairs), "–", "–", "–", "–"}
		if r.Here.Pairs > 0 {
			some = true
			mean := told(r.HereBins)
			row = []string{row[0], row[1], s.chance(mean), s.chance(max(0, mean-r.Here.Bias)), s.chance(r.Here.Gap),
				s.Reader.Number(r.Here.Brier, 3)}
		}
		t.Rows = append(t.Rows, row)
	}
	if !some {
		return nil
	}
	return &t
}

// lead names a band of leads.
func (s Setting) lead(band int) string {
	to := forecast.Leads[band]
	if band == 0 {
		return s.say(LeadUpTo, message.Number("hours", to.Hours()))
	}
	from := forecast.Leads[band-1]
	if from < 24*time.Hour {
		return s.say(LeadHours, message.Number("from", from.Hours()), message.Number("hours", to.Hours()))
	}
	return s.say(LeadDays, message.Number("from", from.Hours()/24), message.Number("days", to.Hours()/24))
}

// fixes says which chances are corrected, and what that rests on.
func (s Setting) fixes(reports [forecast.NumLeads]forecast.LeadReport) []string {
	const asTold = 0.3
	var on []string
	held := false
	for i, r := range reports {
		held = held || r.Held > 0
		if !r.Recalibrated {
			continue
		}
		code := FixBandHere
		if r.Pooled {
			code = FixBandAll
		}
		cal := forecast.Recalibration{Bands: []forecast.Band{r.Band}}
		on = append(on, upper(s.say(code, message.Text("lead", s.lead(i)), message.Chance("told", asTold),
			message.Chance("", cal.Apply(asTold, 0)), message.Number("before", r.Before),
			message.Number("after", r.After))))
	}
	switch {
	case len(on) > 0:
		return append([]string{s.say(FixOn)}, on...)
	case held:
		return []string{s.say(FixTried)}
	}
	return []string{s.say(FixNone)}
}

// rainMeans says from how much on an hour counts as wet.
func (s Setting) rainMeans(w forecast.WetEvent) string {
	hours := message.Count("hours", max(1, int(w.Period/time.Hour)))
	if w.OverMM == 0 {
		return s.say(NoteRainAny, hours)
	}
	return s.say(NoteRainOver, hours, message.Depth("over", unit.Millimetres(w.OverMM)))
}
