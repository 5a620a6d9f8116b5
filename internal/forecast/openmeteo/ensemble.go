package openmeteo

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/place"
)

// ensembleModel is asked for: a global ensemble of 31 members that reaches
// over all 16 days (https://open-meteo.com/en/docs/ensemble-api).
const ensembleModel = "gfs_seamless"

// ensembleTimeout keeps a slow second product from costing the first one: a
// fetch is stopped after 20 s as a whole.
const ensembleTimeout = 6 * time.Second

var ensembleVariables = []string{"temperature_2m", "relative_humidity_2m", "precipitation", "cloud_cover",
	"wind_speed_10m", "shortwave_radiation"}

// control is the name of the run that the others are disturbed from.
const control = "control"

// addEnsemble asks for the ensemble and puts its members beside the hours.
func (f *Feed) addEnsemble(ctx context.Context, fc *forecast.Forecast, now time.Time) error {
	ctx, cancel := context.WithTimeout(ctx, ensembleTimeout)
	defer cancel()
	q := f.query(fc.Cell, ensembleVariables)
	q.Set("models", ensembleModel)
	ans, err := f.client.Get(ctx, fetch.Request{Feed: Name, URL: f.ensemble + "/v1/ensemble?" + q.Encode(),
		Accept: accept, Now: now, Reason: reason})
	if err != nil {
		return err
	}
	e, err := DecodeEnsemble(ans.Body)
	if err == nil {
		err = forecast.CheckEnsemble(Name, fc.Cell, e.Place, e.Start, e.Members, now)
	}
	if err != nil {
		return err
	}
	return fc.AddMembers(e.Start, e.Members)
}

// Ensemble is one answer of /v1/ensemble. Every series counts hours from Start.
type Ensemble struct {
	Start   time.Time
	Place   *place.Cell // that it says it is of; nil: it does not say
	Members []forecast.Member
}

// mostMembers bounds an answer: the largest ensembles in use have 51 members,
// and several models may come together.
const mostMembers = 160

// DecodeEnsemble reads one answer: the first hour, and the members whose keys
// are there, the control run first. Conventions, ranges and refusals are those
// of Decode.
func DecodeEnsemble(body []byte) (Ensemble, error) {
	doc, err := read(body, memberColumn)
	if err != nil {
		return Ensemble{}, err
	}
	first, at, err := doc.starts()
	if err != nil {
		return Ensemble{}, err
	}
	hours := at[len(at)-1] + 1
	var bad fault.List
	if hours > forecast.MaxHours {
		bad.Add("hourly.time", strconv.Itoa(hours)+" hours", "must span at most "+strconv.Itoa(forecast.MaxHours))
		return Ensemble{}, bad.Err(Name + ": the ensemble's hours make no sense")
	}
	var members []forecast.Member
	index := make(map[string]int)
	doc.eachColumn(&bad, func(string) {}, func(c table, s scale) {
		m, series := meanings[c.quantity], newSeries(hours)
		lo, hi := m.variable.Range()
		for i, v := range c.values {
			h := at[i]
			if m.preceding {
				h--
			}
			if v = s.of(v); v < lo || v > hi {
				if len(bad) < 20 {
					bad.Add("hourly."+c.name+"["+strconv.Itoa(i)+"]", strconv.FormatFloat(v, 'g', -1, 64),
						fmt.Sprintf("%s must be between %g and %g", m.variable, lo, hi))
				}
			} else if h >= 0 {
				series[h] = v
			}
		}
		k, seen := index[c.member]
		if !seen {
			k = len(members)
			index[c.member] = k
			members = append(members, forecast.Member{Name: c.member})
		}
		members[k].Values[m.variable] = series
	})
	if len(members) > mostMembers {
		bad.Add("hourly", strconv.Itoa(len(members))+" members", "must hold at most "+strconv.Itoa(mostMembers))
	}
	if err := bad.Err(Name + ": the ensemble is not to be believed"); err != nil {
		return Ensemble{}, err
	}
	members = withoutLoneModels(members)
	sort.Slice(members, func(i, j int) bool { return before(members[i].Name, members[j].Name) })
	if len(members) < 2 { // one run alone would pass for certainty
		bad.Add("hourly", strconv.Itoa(len(members))+" members", "must hold two or more")
		return Ensemble{}, bad.Err(Name + ": the document is no ensemble")
	}
	return Ensemble{first, fetch.Place(doc.Latitude, doc.Longitude), members}, nil
}

func newSeries(hours int) forecast.Series {
	s := make(forecast.Series, hours)
	for i := range s {
		s[i] = math.NaN()
	}
	return s
}

// memberColumn reads a key such as precipitation_member07, or one with the
// model's name behind it, as it comes when several models were asked for. The
// key without a member is the control run's.
func memberColumn(name string) (column, bool) {
	rest := ""
	q, ok := quantities[name]
	for i := len(name) - 1; !ok && i > 0; i-- { // the longest name first
		if name[i] == '_' {
			q, ok = quantities[name[:i]]
			rest = name[i+1:]
		}
	}
	if _, wanted := meanings[q]; !ok || !wanted {
		return column{}, false
	}
	if rest == "" {
		return column{q, control}, true
	}
	if !strings.HasPrefix(rest, "member") {
		return column{q, control + "_" + rest}, true
	}
	return column{q, rest}, true
}

// withoutLoneModels leaves out what looks like a model's control run but has
// no members beside it: such a key may be anything, a spread for instance.
func withoutLoneModels(members []forecast.Member) []forecast.Member {
	models := map[string]bool{"": true}
	for _, m := range members {
		if strings.HasPrefix(m.Name, "member") {
			_, model, _ := strings.Cut(m.Name, "_")
			models[model] = true
		}
	}
	return slices.DeleteFunc(members, func(m forecast.Member) bool {
		_, model, _ := strings.Cut(m.Name, "_")
		return !models[model]
	})
}

// before orders members by model, the control run of each first.
func before(a, b string) bool {
	runA, modelA, _ := strings.Cut(a, "_")
	runB, modelB, _ := strings.Cut(b, "_")
	if modelA != modelB {
		return modelA < modelB
	}
	return runA < runB // "control" sorts before "member01"
}
