package fetch

import (
	"bytes"

	"github.com/go-json-experiment/json/jsontext"

	"dryslot/internal/place"
)

// Position is the first position of a GeoJSON geometry (RFC 7946): longitude
// before latitude. A geometry of another form is left out.
type Position struct{ At *place.Cell }

// UnmarshalJSONFrom reads the geometry.
func (p *Position) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	p.At = nil
	if d.PeekKind() != '{' {
		return d.SkipValue()
	}
	return EachField(d, func(name string) error {
		if name != "coordinates" {
			return d.SkipValue()
		}
		raw, err := d.ReadValue()
		if err != nil {
			return err
		}
		in := jsontext.NewDecoder(bytes.NewReader(raw))
		var found []float64
		for len(found) < 2 {
			t, err := in.ReadToken()
			if err != nil {
				return nil // no position in it
			}
			if t.Kind() == '0' {
				found = append(found, t.Float())
			}
		}
		p.At = &place.Cell{Latitude: found[1], Longitude: found[0]}
		return nil
	})
}

// Place is a place given by two numbers; nil where one is unknown.
func Place(latitude, longitude Number) *place.Cell {
	if !latitude.Known || !longitude.Known {
		return nil
	}
	return &place.Cell{Latitude: latitude.V, Longitude: longitude.V}
}
