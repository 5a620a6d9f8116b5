package openmeteo

import (
	"bytes"
	"fmt"
	"strconv"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
	"dryslot/internal/forecast/fetch"
)

// document is what is read of an answer: the wanted columns of its hourly
// part, still in the document's units and under the document's labels.
type document struct {
	Latitude  fetch.Number `json:"latitude"` // of the model's grid cell
	Longitude fetch.Number `json:"longitude"`
	Offset    int          `json:"utc_offset_seconds"`
	Units     units        `json:"hourly_units"`
	Hourly    hourly       `json:"hourly"`
	Error     bool         `json:"error"`
	Reason    string       `json:"reason"`
}

// mostColumns bounds what one document may fill the memory with.
const mostColumns = mostMembers * 10 // ten quantities have a meaning

// column names one wanted list of the hourly part.
type column struct {
	quantity quantity
	member   string // of an ensemble; empty: a single run
}

// units are the stated units of the wanted columns, by the document's names.
type units struct {
	want func(name string) (column, bool)
	of   map[string]string
}

// UnmarshalJSONFrom keeps the units of the wanted columns only, so that what
// is kept is bounded by what was asked for.
func (u *units) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	return fetch.EachField(d, func(name string) error {
		if _, ok := u.want(name); !ok && name != "time" {
			return d.SkipValue()
		}
		t, err := d.ReadToken()
		if err != nil {
			return err
		}
		if t.Kind() != '"' {
			return fetch.NotA("the name of a unit", string(d.StackPointer()), t.String())
		}
		if u.of == nil {
			u.of = make(map[string]string)
		}
		u.of[name] = t.String()
		return nil
	})
}

// hourly is the document's table of hours.
type hourly struct {
	want    func(name string) (column, bool)
	labels  []int64 // seconds since 1970 as the label reads, offset and all
	unix    bool    // labels are instants, not readings of a local clock
	columns []table
	names   map[column]string // the document's name of each column
	broken  []string          // columns that no pour needs, and that hold something else than numbers
}

// table is one column as read.
type table struct {
	column
	name   string
	values fetch.Numbers
}

// UnmarshalJSONFrom keeps the wanted columns and skips the others.
func (h *hourly) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	h.columns, h.names, h.broken = nil, make(map[column]string), nil
	return fetch.EachField(d, func(name string) error {
		if name == "time" {
			return h.readLabels(d)
		}
		col, ok := h.want(name)
		if !ok {
			return d.SkipValue()
		}
		if before, twice := h.names[col]; twice {
			return fetch.NotA("given under one name only, not also as "+before, string(d.StackPointer()), name)
		}
		if len(h.columns)+len(h.broken) >= mostColumns {
			return fetch.NotA(fmt.Sprintf("within %d columns", mostColumns), string(d.StackPointer()), name)
		}
		n := make(fetch.Numbers, 0, len(h.labels))
		switch sound, err := h.read(d, col, &n); {
		case err != nil:
			return err
		case !sound:
			h.names[col] = name
			h.broken = append(h.broken, name)
		case n != nil:
			h.names[col] = name
			h.columns = append(h.columns, table{col, name, n})
		}
		return nil
	})
}

// read reads a column; one without which pours are planned all the same is not sound
// where it is no list of numbers.
func (h *hourly) read(d *jsontext.Decoder, col column, into *fetch.Numbers) (sound bool, err error) {
	if m, put := meanings[col.quantity]; put && m.variable.Essential() {
		return true, into.UnmarshalJSONFrom(d)
	}
	raw, err := d.ReadValue()
	if err != nil {
		return false, err
	}
	return into.UnmarshalJSONFrom(jsontext.NewDecoder(bytes.NewReader(raw))) == nil, nil
}

func (h *hourly) readLabels(d *jsontext.Decoder) error {
	open, err := d.ReadToken()
	if err != nil {
		return err
	}
	if open.Kind() != '[' {
		return fetch.NotA("an array of times", string(d.StackPointer()), open.String())
	}
	h.labels = make([]int64, 0, 17*24)
	for d.PeekKind() != ']' {
		t, err := d.ReadToken()
		if err != nil {
			return err
		}
		if len(h.labels) >= forecast.MaxHours {
			return fetch.NotA(fmt.Sprintf("an array of at most %d times", forecast.MaxHours), string(d.StackPointer()),
				"more")
		}
		unix := t.Kind() == '0'
		var label int64
		if unix {
			label, err = strconv.ParseInt(t.String(), 10, 64)
		} else {
			label, err = parseLabel(t.String())
		}
		if err != nil {
			return fetch.NotA("a time such as 2026-03-08T02:00, or seconds since 1970", string(d.StackPointer()),
				t.String())
		}
		if len(h.labels) > 0 && unix != h.unix {
			return fetch.NotA("of one form in the whole list", string(d.StackPointer()), t.String())
		}
		h.unix = unix
		h.labels = append(h.labels, label)
	}
	_, err = d.ReadToken()
	return err
}

// parseLabel reads a label as the seconds since 1970 at which a clock in UTC
// shows it.
func parseLabel(s string) (int64, error) {
	t, err := time.Parse("2006-01-02T15:04", s)
	return t.Unix(), err
}

// read reads one answer whole. A list of one document, as the server gives
// for a list of places, is that document.
func read(body []byte, want func(name string) (column, bool)) (*document, error) {
	one := document{Units: units{want: want}, Hourly: hourly{want: want}}
	doc := &one
	if firstByte(body) == '[' {
		list := places{want: want}
		if err := fetch.Parse(Name, body, &list); err != nil {
			return nil, err
		}
		if list.doc == nil {
			return nil, fault.New(fault.Invalid, Name+": the document is an empty list of places")
		}
		doc = list.doc
	} else if err := fetch.Parse(Name, body, doc); err != nil {
		return nil, err
	}
	if doc.Error {
		return nil, fault.New(fault.Invalid, Name+": refused: "+doc.Reason)
	}
	return doc, nil
}

// places is an answer for a list of places, of which only one was asked for.
type places struct {
	want func(name string) (column, bool)
	doc  *document
}

// UnmarshalJSONFrom reads a list of one document.
func (p *places) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	if _, err := d.ReadToken(); err != nil {
		return err
	}
	for d.PeekKind() != ']' {
		if p.doc != nil {
			return fetch.NotA("one place only, which was asked for", string(d.StackPointer()), "more")
		}
		p.doc = &document{Units: units{want: p.want}, Hourly: hourly{want: p.want}}
		if err := unmarshalNext(d, p.doc); err != nil {
			return err
		}
	}
	_, err := d.ReadToken()
	return err
}

func firstByte(body []byte) byte {
	for _, b := range body {
		switch b {
		case ' ', '\t', '\r', '\n':
		default:
			return b
		}
	}
	return 0
}

// starts returns the first hour and, for each label, its distance from it in
// hours. It refuses labels that are no whole hours, that come twice or out of
// order: which value would be right can't be known then. A gap is allowed.
func (doc *document) starts() (first time.Time, at []int, err error) {
	var bad fault.List
	labels := doc.Hourly.labels
	if len(labels) == 0 {
		bad.Add("hourly.time", "missing or empty", "must hold the hours")
		return first, nil, bad.Err(Name + ": the document holds no hours")
	}
	offset := int64(0)
	if !doc.Hourly.unix {
		// One offset holds for the whole document, also across a clock change.
		// The server's data lie on whole hours of UTC, and it drops what an offset
		// has beyond whole hours before it labels them (getTimerange2 in the
		// source of Open-Meteo): 00:00 at +09:30 is 15:00 UTC of the day before.
		const widest = 16 * 3600 // the widest offset in use is 14 h
		if doc.Offset < -widest || doc.Offset > widest {
			bad.Add("utc_offset_seconds", strconv.Itoa(doc.Offset), "must be within 16 hours")
			return first, nil, bad.Err(Name + ": the document's clock makes no sense")
		}
		offset = int64(doc.Offset / 3600 * 3600)
	}
	const furthest = 1 << 33 // seconds since 1970: the year 2242
	at = make([]int, len(labels))
	for i, l := range labels {
		t := l - offset
		name := "hourly.time[" + strconv.Itoa(i) + "]"
		switch {
		case t < 0 || t > furthest:
			bad.Add(name, strconv.FormatInt(l, 10), "must be a date between 1970 and 2242")
		case t%3600 != 0:
			bad.Add(name, time.Unix(t, 0).UTC().Format(time.RFC3339), "must be a whole hour")
		case i > 0 && l <= labels[i-1]:
			bad.Add(name, time.Unix(t, 0).UTC().Format(time.RFC3339), "must be later than the one before it")
		}
		if len(bad) > 0 {
			return first, nil, bad.Err(Name + ": the document's hours make no sense")
		}
		at[i] = int((l - labels[0]) / 3600)
	}
	return time.Unix(labels[0]-offset, 0).UTC(), at, nil
}
