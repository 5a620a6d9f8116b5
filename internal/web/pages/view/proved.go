package view

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"dryslot/internal/forecast"
	"dryslot/internal/web/draw"
)

// Proof is how earlier chances of rain proved at a project's place.
type Proof struct {
	Told    bool   // a forecast has come, and it tells chances of rain
	Of      string // whose chances of what, as they are counted
	Against string // what they were held against
	Wet     forecast.WetEvent
	Reports [forecast.NumLeads]forecast.LeadReport
}

// Proved is the page of how far the forecasts can be believed here.
type Proved struct {
	Frame    Frame
	Headline string
	Lines    []string
	Groups   []ProofGroup
	Leads    *Table
	Fixes    []string // what is done about it
	Notes    []string
}

func (Proved) template() string { return "proved" }

// ProofGroup is the chances told about as long before.
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
	// enoughLike are the hours told alike that a share can be given of.
	enoughLike = 30
)

// shown are the bands of leads that a builder decides by, with their names.
var shown = [...]struct {
	band  int
	words string
}{{2, "Told the evening before: 12 to 24 hours ahead"}, {0, "Told the same morning: up to 6 hours ahead"}, {4, "Told two to four days before"}}

// NewProved makes the page.
func NewProved(s Setting, p Proof) Proved {
	page := Proved{Frame: s.frame("How the forecasts proved", "")}
	if !p.Told {
		page.Headline = "Nothing to prove yet: no forecast with chances of rain has come in."
		page.Lines = []string{"Once one has, each hour's chance is kept, and the rain that came is held against it."}
		return page
	}
	evening := p.Reports[shown[0].band]
	here := evening.Here.Pairs
	page.Headline = fmt.Sprintf("Too early to say how the forecasts prove here: %s.", countedHours(here))
	if here >= enoughHours {
		page.Headline = provedSentence(evening.HereBins, evening.Here)
		page.Lines = append(page.Lines, "That is what was told the evening before, over "+countedHours(here)+". "+leaning(evening.Here))
	} else {
		page.Lines = append(page.Lines, fmt.Sprintf("It takes about ten days of hours told the evening before and known since, %d in all. Until then a chance is only what the feed says.", enoughHours))
	}
	for _, g := range shown {
		if made, ok := proofGroup(p.Reports[g.band], g.band, g.words); ok {
			made.Folded = len(page.Groups) > 0
			page.Groups = append(page.Groups, made)
		}
	}
	page.Leads = leadTable(p.Reports)
	page.Fixes = fixes(p.Reports)
	page.Notes = []string{
		fmt.Sprintf("Rain here means %s.", wetWords(p.Wet, s.Reader().US)),
		"The chances are those the feed told, before any correction of ours; what came is " + p.Against + ".",
		"Hours that follow one another are alike: a hundred hours are only a few days' weather.",
		"Counted: " + p.Of + ".",
	}
	return page
}

// provedSentence says the one thing: what a chance told about as high as one
// that makes a builder think proved to be.
func provedSentence(bins []forecast.Bin, all forecast.Score) string {
	const thought = 0.3
	best := -1
	for i, b := range bins {
		if b.Pairs >= enoughLike && b.Chance >= 0.05 && (best < 0 || math.Abs(b.Chance-thought) < math.Abs(bins[best].Chance-thought)) {
			best = i
		}
	}
	if best < 0 {
		return fmt.Sprintf("Rain was told with %s on average, and came in %s of the hours.", percent(told(bins)), percent(told(bins)-all.Bias))
	}
	return fmt.Sprintf("Of the hours told as %s, rain came in %s.", percent(bins[best].Chance), percent(bins[best].Frequency()))
}

func told(bins []forecast.Bin) float64 {
	n, sum := 0.0, 0.0
	for _, b := range bins {
		n, sum = n+float64(b.Pairs), sum+float64(b.Pairs)*b.Chance
	}
	return sum / max(1, n)
}

// leaning says whether the feed tells too much or too little, all in all.
func leaning(s forecast.Score) string {
	points := s.Bias * 100
	switch {
	case points > 1.5:
		return fmt.Sprintf("All in all the feed tells rain too often, by %.0f in a hundred hours.", points)
	case points < -1.5:
		return fmt.Sprintf("All in all the feed tells rain too seldom, by %.0f in a hundred hours.", -points)
	}
	return "All in all the feed tells about as much rain as comes."
}

// proofGroup shows one band: this place's, else all places' where they have
// enough.
func proofGroup(r forecast.LeadReport, band int, caption string) (g ProofGroup, ok bool) {
	g.Caption = caption
	bins, score := r.HereBins, r.Here
	switch {
	case score.Pairs >= enoughHours:
		g.Lines = append(g.Lines, countedHours(score.Pairs)+" at this place.")
	case r.Everywhere.Pairs >= enoughHours && r.Everywhere.Pairs > score.Pairs:
		bins, score = r.AllBins, r.Everywhere
		g.Lines = append(g.Lines, fmt.Sprintf("Too little is known here (%s); this is of all places together, %s.", countedHours(r.Here.Pairs), countedHours(score.Pairs)))
	default:
		return g, false
	}
	g.Lines[0] = upper(g.Lines[0])
	var points []draw.ProofPoint
	few := false
	for _, b := range bins {
		x := draw.ProofPoint{Told: b.Chance, Came: b.Frequency(), Hours: b.Pairs, Few: b.Pairs < enoughLike}
		few = few || x.Few
		points = append(points, x)
		came := percent(x.Came)
		if x.Few {
			came += ", few hours"
		}
		g.Table.Rows = append(g.Table.Rows, []string{percent(x.Told), came, thousands(float64(x.Hours))})
	}
	if few {
		g.Lines = append(g.Lines, fmt.Sprintf("Rings stand for fewer than %d hours: don't lean on them.", enoughLike))
	}
	g.Table.Caption, g.Table.Head = caption, []string{"Told", "Rain came in", "Hours"}
	id := fmt.Sprintf("proof-%d", band)
	g.ChartNarrow, g.ChartWide = draw.Proof(id, points, draw.Phone()), draw.Proof(id, points, draw.Desk())
	return g, true
}

// leadTable gives the scores by lead time; nil where nothing was counted.
func leadTable(reports [forecast.NumLeads]forecast.LeadReport) *Table {
	t := Table{Caption: "By how long before", Head: []string{"Told ahead", "Hours", "Told", "Came", "Off by", "Brier score"}}
	some := false
	for i, r := range reports {
		row := []string{leadWords(i), thousands(float64(r.Here.Pairs)), "–", "–", "–", "–"}
		if r.Here.Pairs > 0 {
			some = true
			mean := told(r.HereBins)
			row = []string{row[0], row[1], percent(mean), percent(max(0, mean-r.Here.Bias)), percent(r.Here.Gap), fmt.Sprintf("%.3f", r.Here.Brier)}
		}
		t.Rows = append(t.Rows, row)
	}
	if !some {
		return nil
	}
	return &t
}

// leadWords names a band of leads.
func leadWords(band int) string {
	from := time.Duration(0)
	if band > 0 {
		from = forecast.Leads[band-1]
	}
	to := forecast.Leads[band]
	switch {
	case band == 0:
		return fmt.Sprintf("up to %.0f h", to.Hours())
	case from < 24*time.Hour:
		return fmt.Sprintf("%.0f to %.0f h", from.Hours(), to.Hours())
	}
	return fmt.Sprintf("%.0f to %.0f days", from.Hours()/24, to.Hours()/24)
}

// fixes says which chances are corrected, and what that rests on.
func fixes(reports [forecast.NumLeads]forecast.LeadReport) []string {
	var on []string
	held := false
	for i, r := range reports {
		held = held || r.Held > 0
		if !r.Recalibrated {
			continue
		}
		from := "learned at this place"
		if r.Pooled {
			from = "learned at all places together"
		}
		cal := forecast.Recalibration{Bands: []forecast.Band{r.Band}}
		on = append(on, fmt.Sprintf("Told %s ahead: 30 %% counts as %s. %s; on weeks it had not seen, the Brier score went from %.3f to %.3f.",
			leadWords(i), percent(cal.Apply(0.3, 0)), upper(from), r.Before, r.After))
	}
	switch {
	case len(on) > 0:
		return append([]string{"The plan counts corrected chances where that has proved better:"}, on...)
	case held:
		return []string{"No correction has been learned: one was tried, and did no better on weeks that it had not seen."}
	}
	return []string{"No correction has been learned yet: that takes four weeks with rain in them."}
}

func wetWords(w forecast.WetEvent, us bool) string {
	amount := fmt.Sprintf("more than %g mm", w.OverMM)
	if us {
		amount = fmt.Sprintf("more than %.1g inches", w.OverMM/25.4)
	}
	if w.OverMM == 0 {
		amount = "any at all"
	}
	if h := int(w.Period / time.Hour); h > 1 {
		return fmt.Sprintf("%s in %d hours", amount, h)
	}
	return amount + " in the hour"
}

func countedHours(n int) string {
	switch n {
	case 0:
		return "no hour is counted so far"
	case 1:
		return "one hour counted"
	}
	return strings.TrimSpace(thousands(float64(n))) + " hours counted"
}
