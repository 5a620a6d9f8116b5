package belief

import (
	"cmp"
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
)

// WetMM is the rain in an hour from which it counts as wet here: 0.01 inch, the
// least that most gauges read and the least that harms a pad.
const WetMM = 0.25

// Belief is weighted members for one stretch of hours.
type Belief struct {
	Start  time.Time   // a whole hour of UTC
	Hours  int         // of every member
	Rain   [][]float64 // mm in each hour, by member
	Weight []float64   // by member; they sum to 1
	// Climate is what the hours of the nearest climates are like in this
	// season: the reliability of a nowcast is stated for all days, not for
	// this one.
	Climate Frequencies
}

// Options tunes New. Its zero value is what the service uses.
type Options struct {
	Members    int // of the belief, 2 to 5,000; 0: DefaultMembers
	Candidates int // days that members are chosen from, up to 20,000; 0: DefaultCandidates
}

// Defaults of Options.
const (
	DefaultMembers    = 240
	DefaultCandidates = 1500
)

// climateShare is how much of the weight is on days of the season as they are, whatever
// the feed says: a stated 0 % is not 0. Chosen on the training records.
const climateShare = 0.15

// Of the members a fourth part are such days, and of these a sixth part dry ones, which
// are all alike: so that in nearly every hour some member is wet, whose weight
// rises when rain is seen or forecast (judgement).
const climateMembers, dryMembers = 4, 6

// New makes the belief for the hours [from, from+hours) of scenarios, at a
// place. But for climateShare of the members each hour keeps the scenarios'
// chances and amounts, to one member: only which hours are wet in the same
// member is new. An hour that the scenarios don't know stays unknown (NaN) in
// every member.
//
// Errors: fault.Invalid where the hours lie outside the scenarios or an option
// is out of range; the context's error when it ends first.
func New(
	ctx context.Context,
	l *Library,
	p Place,
	sc *forecast.Scenarios,
	from time.Time,
	hours int,
	opt Options,
) (*Belief, error) {
	var bad fault.List
	if opt.Members == 0 {
		opt.Members = DefaultMembers
	}
	if opt.Candidates == 0 {
		opt.Candidates = DefaultCandidates
	}
	if opt.Members < 2 || opt.Members > 5000 {
		bad.Add("Members", fmt.Sprint(opt.Members), "must be between 2 and 5000")
	}
	if opt.Candidates < opt.Members || opt.Candidates > 20_000 {
		bad.Add("Candidates", fmt.Sprint(opt.Candidates), "must be between Members and 20000")
	}
	first, ok := sc.Index(from)
	if !ok || hours < 1 || first+hours > sc.Hours || hours > 72 {
		bad.Add(
			"hours",
			fmt.Sprint(hours),
			"must be between 1 and 72, from "+from.UTC().Format(time.RFC3339)+" within the scenarios",
		)
	}
	if err := bad.Err("no belief can be made of these scenarios"); err != nil {
		return nil, err
	}
	feed := sortedHours(sc, first, hours)
	rnd := seeded(p, from)
	cands := l.candidates(p, from, hours, opt.Candidates)
	asTheyAre := opt.Members / climateMembers
	if len(cands) == 0 {
		asTheyAre = 0
	}
	shapes := wholeDays(sc, first, hours, opt.Members-asTheyAre)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("belief: %w", err)
	}
	rain := tie(shapes, feed, hours)
	weight := slices.Repeat([]float64{1 / float64(len(rain))}, len(rain))
	if asTheyAre > 0 {
		days, share := ofSeason(cands, hours, asTheyAre, rnd)
		asHeavy(days, heavyOfScenarios(sc, first), heavyOfDays(cands, hours))
		rain = append(rain, asKnown(days, feed)...)
		for i := range weight {
			weight[i] *= 1 - climateShare
		}
		for _, x := range share {
			weight = append(weight, climateShare*x)
		}
	}
	rnd.Shuffle(len(rain), func(i, j int) {
		rain[i], rain[j], weight[i], weight[j] = rain[j], rain[i], weight[j], weight[i]
	})
	b := &Belief{
		Start:   from.UTC(),
		Hours:   hours,
		Rain:    rain,
		Weight:  weight,
		Climate: frequencies(cands, hours),
	}
	return b, nil
}

// seeded returns a source of numbers of a place's climate and a date, not of a
// cell's name: equal feeds give equal figures.
func seeded(p Place, from time.Time) *rand.Rand {
	h := fnv.New64a()
	_, _ = fmt.Fprintf(h, "belief %.0f", p.Latitude)
	return rand.New(rand.NewPCG(h.Sum64(), uint64(from.Unix()/86400)))
}

// sortedHours returns the scenarios' rain of each hour, the heaviest first;
// empty where an hour is unknown to any member.
func sortedHours(sc *forecast.Scenarios, first, hours int) [][]float64 {
	out := make([][]float64, hours)
	for h := range out {
		v := make([]float64, 0, len(sc.Members))
		for m := range sc.Members {
			if x := sc.Members[m].RainMM[first+h]; !math.IsNaN(x) {
				v = append(v, x)
			}
		}
		if len(v) < len(sc.Members) {
			continue
		}
		slices.SortFunc(v, func(a, b float64) int { return cmp.Compare(b, a) })
		out[h] = v
	}
	return out
}

// wholeDays repeats the scenarios' members, moved by the shifts in turn.
func wholeDays(sc *forecast.Scenarios, first, hours, members int) [][]float64 {
	out := make([][]float64, members)
	for i := range out {
		rain := sc.Members[i%len(sc.Members)].RainMM
		shift := shifts[i/len(sc.Members)%len(shifts)]
		out[i] = make([]float64, hours)
		for h := range out[i] {
			k := min(max(first+h+shift, 0), sc.Hours-1)
			if x := rain[k]; !math.IsNaN(x) {
				out[i][h] = x
			}
		}
	}
	return out
}

// ofSeason takes some of the candidates as members, wet ones far oftener than dry ones,
// and returns the share that each stands for; these sum to 1.
func ofSeason(cands []candidate, hours, members int, rnd *rand.Rand) (days [][]float64, share []float64) {
	var wet, dry [][]float64
	for _, i := range rnd.Perm(len(cands)) {
		day := cands[i].rain(hours)
		if slices.Max(day) >= WetMM {
			wet = append(wet, day)
		} else {
			dry = append(dry, day)
		}
	}
	few := (members + dryMembers - 1) / dryMembers
	switch {
	case len(dry) == 0:
		few = 0
	case len(wet) == 0 || few == members:
		few, wet, dry = members, nil, append(dry, wet...)
	}
	for _, part := range []struct {
		of [][]float64
		n  int
	}{{dry, few}, {wet, members - few}} {
		for k := range part.n {
			days = append(days, slices.Clone(part.of[k*len(part.of)/part.n]))
			share = append(share, float64(len(part.of))/float64(len(cands)*part.n))
		}
	}
	return days, share
}

// asKnown makes the hours unknown that the feed doesn't know.
func asKnown(days, feed [][]float64) [][]float64 {
	for _, day := range days {
		for h := range day {
			if feed[h] == nil {
				day[h] = math.NaN()
			}
		}
	}
	return days
}

func (c *candidate) rain(hours int) []float64 {
	out := make([]float64, hours)
	for h, x := range c.record.Codes[c.at : c.at+hours] {
		out[h] = Amount(x)
	}
	return out
}

// tie gives each hour's values of the feed to the members by rank: the heaviest
// to the member whose own day is wettest then. Equally dry members are ranked
// by how near their rain is.
func tie(shapes, feed [][]float64, hours int) [][]float64 {
	n := len(shapes)
	flat := make([]float64, n*hours)
	out := make([][]float64, n)
	for i := range out {
		out[i] = flat[i*hours : (i+1)*hours : (i+1)*hours]
	}
	type rank struct {
		member   int
		mm, near float64
	}
	ranks := make([]rank, n)
	for h := range hours {
		if feed[h] == nil {
			for i := range out {
				out[i][h] = math.NaN()
			}
			continue
		}
		for i := range ranks {
			ranks[i] = rank{i, shapes[i][h], near(shapes[i], h)}
		}
		slices.SortFunc(ranks, func(a, b rank) int {
			return cmp.Or(cmp.Compare(b.mm, a.mm), cmp.Compare(b.near, a.near), cmp.Compare(a.member, b.member))
		})
		for k, r := range ranks {
			out[r.member][h] = feed[h][(2*k+1)*len(feed[h])/(2*n)]
		}
	}
	return out
}

// near weighs a day's rain of the three hours before and after one.
func near(mm []float64, h int) float64 {
	sum := 0.0
	for d := 1; d <= 3; d++ {
		for _, k := range [...]int{h - d, h + d} {
			if k >= 0 && k < len(mm) && mm[k] > 0 {
				sum += min(mm[k], 5) / float64(d)
			}
		}
	}
	return sum
}
