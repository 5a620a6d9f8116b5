package say

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"maps"
	"strings"
	"sync"

	"golang.org/x/text/language"

	"dryslot/internal/message"
)

//go:embed catalogs/*.json
var files embed.FS

// catalog is all that one language is worded by: one file.
type catalog struct {
	Formats   formats                    `json:"formats"`
	Regions   map[string]json.RawMessage `json:"regions"` // what differs in a region, laid over Formats
	Terms     map[string]string          `json:"terms"`   // words of the trade and of the interface
	Sentences map[message.Code]sentence  `json:"sentences"`
}

// formats are how a language writes dates, clocks and units. Names and
// patterns are CLDR's (release 46), but for the weekday in dated_moment.
type formats struct {
	Weekdays      [7]string         `json:"weekdays"` // Sunday first
	WeekdaysShort [7]string         `json:"weekdays_short"`
	Months        [12]string        `json:"months"`
	MonthsShort   [12]string        `json:"months_short"`
	DateShort     string            `json:"date_short"`
	DateLong      string            `json:"date_long"`
	DateYear      string            `json:"date_year"`
	Today         string            `json:"today"`
	Tomorrow      string            `json:"tomorrow"`
	Moment        string            `json:"moment"`       // a weekday and a clock
	DatedMoment   string            `json:"dated_moment"` // a date and a clock
	Beyond        string            `json:"beyond"`       // an instant past what is known
	AM            string            `json:"am"`
	PM            string            `json:"pm"`
	Under         string            `json:"under"` // a chance too small to give
	Over          string            `json:"over"`
	Counts        []string          `json:"counts"` // 0, 1, ... in words, as they stand before pads and bags
	Units         map[string]string `json:"units"`
	Hours         string            `json:"hours"` // a duration of hours and minutes
}

// sentence is a template, or one for each plural form of the figure named By.
type sentence struct {
	By    string `json:"by"`
	Zero  string `json:"zero"`
	One   string `json:"one"`
	Two   string `json:"two"`
	Few   string `json:"few"`
	Many  string `json:"many"`
	Other string `json:"other"`
}

// UnmarshalJSON reads a template alone, or an object of plural forms.
func (s *sentence) UnmarshalJSON(b []byte) error {
	if b[0] == '"' {
		*s = sentence{}
		return json.Unmarshal(b, &s.Other)
	}
	type bare sentence
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	return d.Decode((*bare)(s))
}

// catalogs reads the embedded files once: en.json and en_pages.json are parts of
// one catalog. A file that can't be read is a fault
// of the build, which the tests find: it panics.
var catalogs = sync.OnceValue(func() map[string]*catalog {
	out := map[string]*catalog{}
	entries, err := files.ReadDir("catalogs")
	if err != nil {
		panic(fmt.Errorf("say: catalogs: %w", err))
	}
	for _, e := range entries {
		b, err := files.ReadFile("catalogs/" + e.Name())
		if err != nil {
			panic(fmt.Errorf("say: catalog %s: %w", e.Name(), err))
		}
		c := &catalog{}
		d := json.NewDecoder(bytes.NewReader(b))
		d.DisallowUnknownFields()
		if err := d.Decode(c); err != nil {
			panic(fmt.Errorf("say: catalog %s: %w", e.Name(), err))
		}
		lang, _, _ := strings.Cut(strings.TrimSuffix(e.Name(), ".json"), "_")
		if have := out[lang]; have != nil {
			for code := range have.Sentences {
				if _, twice := c.Sentences[code]; twice {
					panic(fmt.Errorf("say: catalog %s: %s stands in two files of one language", e.Name(), code))
				}
			}
			maps.Copy(c.Terms, have.Terms)
			maps.Copy(c.Sentences, have.Sentences)
			if c.Regions == nil {
				c.Formats, c.Regions = have.Formats, have.Regions
			}
		}
		out[lang] = c
	}
	return out
})

// regional are the formats of each language that Languages names.
var regional = sync.OnceValue(func() map[string]formats {
	out := map[string]formats{}
	for _, l := range Languages() {
		base, _ := language.MustParse(l).Base()
		region, _ := language.MustParse(l).Region()
		c := catalogs()[base.String()]
		f := c.Formats
		if over, ok := c.Regions[region.String()]; ok && l != base.String() {
			if err := json.Unmarshal(over, &f); err != nil {
				panic(fmt.Errorf("say: formats of %s: %w", l, err))
			}
		}
		out[l] = f
	}
	return out
})

func (r Reader) catalog() *catalog {
	base, _ := r.tag().Base()
	return catalogs()[base.String()]
}

func (r Reader) formats() formats { return regional()[r.tag().String()] }
