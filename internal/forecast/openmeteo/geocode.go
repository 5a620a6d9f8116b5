package openmeteo

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"dryslot/internal/fault"
	"dryslot/internal/forecast/fetch"
	"dryslot/internal/message"
	"dryslot/internal/place"
)

// GeocodingAttribution is to be shown where places are looked up by name: the
// places come from GeoNames (CC BY 4.0).
const GeocodingAttribution = "Places by GeoNames through Open-Meteo.com, CC BY 4.0"

// PlaceNameLength is the rule for a name that can't be looked up: min and max characters.
const PlaceNameLength message.Code = "place_name_length"

// Bounds of a lookup. The service finds nothing for a single character, and
// gives at most a hundred places, best first.
const (
	shortestName = 2
	longestName  = 80
	mostPlaces   = 50
	keptNames    = 500 // answers kept in memory; a place stays where it is
)

// GeocoderConfig sets up a Geocoder.
type GeocoderConfig struct {
	BaseURL   string // of /v1/search
	Key       string // of a paid plan; empty: none
	Contact   string // put in the User-Agent
	Timeout   time.Duration
	Transport http.RoundTripper // nil: http.DefaultTransport
}

// Geocoder finds places by their names.
type Geocoder struct {
	client *fetch.Client
	base   string
	key    string
	now    func() time.Time

	mu   sync.Mutex
	kept map[string][]place.Named // by query
}

// NewGeocoder returns a geocoder, or fault.Invalid naming what can't be used.
func NewGeocoder(c GeocoderConfig, now func() time.Time) (*Geocoder, error) {
	base, err := fetch.Base("OPENMETEO_GEOCODING_URL", c.BaseURL)
	if err != nil {
		return nil, err
	}
	client, err := fetch.New(fetch.Config{Contact: c.Contact, Timeout: c.Timeout, MaxBody: 512 << 10, AtOnce: 4,
		Transport: c.Transport})
	if err != nil {
		return nil, err
	}
	return &Geocoder{client: client, base: base, key: c.Key, now: now, kept: map[string][]place.Named{}}, nil
}

// Find returns the places of a name as it is typed, such as "Tacoma, WA" or a
// postal code, the best first, named in a language (ISO 639-1). It returns an
// empty list where none is known, fault.Invalid for a name that can't be looked
// up, and fault.Unavailable where the service does not answer.
func (g *Geocoder) Find(ctx context.Context, typed, language string) ([]place.Named, error) {
	name, within := place.SplitName(typed)
	if n := utf8.RuneCountInString(name); n < shortestName || n > longestName || !utf8.ValidString(name) {
		var bad fault.List
		bad.Break("place", name, fault.RuleOf(PlaceNameLength, message.Count("min", shortestName),
			message.Count("max", longestName)))
		return nil, bad.Err("the name of a place can't be looked up")
	}
	q := url.Values{"name": {name}, "count": {"50"}, "language": {language}, "format": {"json"}}
	if g.key != "" {
		q.Set("apikey", g.key)
	}
	query := q.Encode()
	g.mu.Lock()
	found, known := g.kept[query]
	g.mu.Unlock()
	if !known {
		ans, err := g.client.Get(ctx, fetch.Request{Feed: Name, URL: g.base + "/v1/search?" + query, Accept: accept,
			Now: g.now(), Reason: reason})
		if err != nil {
			return nil, err
		}
		if found, err = DecodePlaces(ans.Body); err != nil {
			return nil, err
		}
		g.keep(query, found)
	}
	return place.Within(found, within), nil
}

func (g *Geocoder) keep(query string, found []place.Named) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.kept) >= keptNames {
		clear(g.kept)
	}
	g.kept[query] = found
}

// namedPlace is one result. Fields beyond these are left out.
type namedPlace struct {
	Name      string       `json:"name"`
	Latitude  fetch.Number `json:"latitude"`
	Longitude fetch.Number `json:"longitude"`
	Elevation fetch.Number `json:"elevation"`
	Code      string       `json:"country_code"`
	Country   string       `json:"country"`
	Region    string       `json:"admin1"`
	District  string       `json:"admin2"`
}

// Heights that a place can have, the Dead Sea shore to the highest road; the
// service gives 9999 where it knows none.
const lowest, highest = -450, 6000

// DecodePlaces reads an answer. A result without a name or without coordinates
// is left out; an answer that is not of the stated form is fault.Invalid.
func DecodePlaces(body []byte) ([]place.Named, error) {
	var doc struct {
		Results fetch.List[namedPlace] `json:"results"`
	}
	if err := fetch.Parse(Name, body, &doc); err != nil {
		return nil, err
	}
	out := []place.Named{}
	for _, x := range doc.Results {
		n := place.Named{Name: words(x.Name), District: words(x.District), Region: words(x.Region),
			Country: words(x.Country), Code: words(x.Code), Latitude: x.Latitude.V, Longitude: x.Longitude.V}
		on := x.Latitude.Known && x.Longitude.Known && n.Latitude >= -90 && n.Latitude <= 90 && n.Longitude >= -180 &&
			n.Longitude <= 180
		if n.Name == "" || !on {
			continue
		}
		if e := x.Elevation; e.Known && e.V >= lowest && e.V <= highest {
			n.ElevationM = &e.V
		}
		if out = append(out, n); len(out) == mostPlaces {
			break
		}
	}
	return out, nil
}

// words makes a name of a document fit to show: one line, no control
// characters, no longer than a name is.
func words(s string) string {
	s = strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, s)), " ")
	for i := range s {
		if i > longestName {
			return s[:i]
		}
	}
	return s
}
