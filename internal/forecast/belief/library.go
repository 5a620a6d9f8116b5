package belief

import (
	"bytes"
	"compress/gzip"
	_ "embed" // days.bin.gz
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"
)

//go:generate sh -c "cd ../../.. && go run ./internal/measure/emulate/run -what
// library -o internal/forecast/belief/days.bin.gz"

//go:embed days.bin.gz
var packed []byte

// Record is one station's hourly rain.
type Record struct {
	Region              string
	Latitude, Longitude float64   // degrees, north and east positive
	Start               time.Time // a whole hour of UTC
	Codes               []byte    // rain of each hour, see Code
}

// Library is the station records that members are taken from. It is safe for
// use by several goroutines: nothing changes it.
type Library struct{ records []Record }

// NewLibrary makes a library of records.
func NewLibrary(records []Record) *Library { return &Library{records: records} }

// Embedded decodes the library that ships with the binary (sources in
// SOURCES.md). It takes some milliseconds: call it once and keep the answer.
func Embedded() (*Library, error) {
	l, err := Decode(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("belief: the library that ships with the binary: %w", err)
	}
	return l, nil
}

// Without returns the library without one region's records: whoever measures
// on a region's records must not find the days themselves among the members.
func (l *Library) Without(region string) *Library {
	out := &Library{}
	for _, r := range l.records {
		if r.Region != region {
			out.records = append(out.records, r)
		}
	}
	return out
}

// Regions returns the regions of the library, by name.
func (l *Library) Regions() []string {
	var out []string
	for _, r := range l.records {
		out = append(out, r.Region)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Rain is kept as one byte an hour: 0 is dry, Unknown is not known, any other
// code k stands for leastMM exp((k-1) step), within 1.6 % of what was read.
const (
	Unknown = 255
	leastMM = 0.1
	step    = 0.0315
)

// thresholds are amounts that an hour's rain must not cross by being packed
// (planner: light, heavy and extreme rain on concrete).
var thresholds = [...]float64{0.25, 2.5, 7.6}

// Code packs an hour's rain in mm; NaN is Unknown. What is below 0.05 mm is dry.
// An amount stays on its side of 0.25, 2.5 and 7.6 mm.
func Code(mm float64) byte {
	switch {
	case math.IsNaN(mm) || mm < 0:
		return Unknown
	case mm < leastMM/2:
		return 0
	}
	k := 1 + math.Round(math.Log(mm/leastMM)/step)
	k = min(max(k, 1), Unknown-1)
	for _, t := range thresholds {
		switch x := Amount(byte(k)); {
		case mm >= t && x < t:
			k++
		case mm < t && x >= t:
			k--
		}
	}
	return byte(k)
}

// Amount returns the rain in mm that a code stands for; NaN for Unknown.
func Amount(code byte) float64 {
	switch code {
	case 0:
		return 0
	case Unknown:
		return math.NaN()
	}
	return leastMM * math.Exp(float64(code-1)*step)
}

// The packed form: gzip of magic, then for each record the lengths and values
// below, little endian.
const magic = "rain-by-hour-1\n"

type header struct {
	Latitude, Longitude float32
	Start               int64 // hours since 1970
	Hours               uint32
	Name                uint8 // length of the region's name, which follows
}

// Bounds on what Decode accepts: 100 years an hour at a time.
const (
	mostRecords = 10_000
	mostHours   = 100 * 366 * 24
)

// Encode writes the library in the form that Decode reads.
func (l *Library) Encode(w io.Writer) error {
	z, err := gzip.NewWriterLevel(w, gzip.BestCompression)
	if err != nil {
		return fmt.Errorf("belief: %w", err)
	}
	if _, err := io.WriteString(z, magic); err != nil {
		return fmt.Errorf("belief: %w", err)
	}
	for _, r := range l.records {
		if len(r.Region) > math.MaxUint8 || len(r.Codes) > mostHours {
			return fmt.Errorf("belief: record of %s is too long", r.Region)
		}
		h := header{
			float32(r.Latitude),
			float32(r.Longitude),
			r.Start.Unix() / 3600,
			uint32(len(r.Codes)),
			uint8(len(r.Region)),
		}
		if err := binary.Write(z, binary.LittleEndian, h); err != nil {
			return fmt.Errorf("belief: %w", err)
		}
		if _, err := z.Write(append([]byte(r.Region), r.Codes...)); err != nil {
			return fmt.Errorf("belief: %w", err)
		}
	}
	if err := z.Close(); err != nil {
		return fmt.Errorf("belief: %w", err)
	}
	return nil
}

// Decode reads a library. An input that is cut short, of another form, or with
// impossible values is an error.
func Decode(r io.Reader) (*Library, error) {
	z, err := gzip.NewReader(r)
	if err != nil {
		return nil, fmt.Errorf("belief: %w", err)
	}
	head := make([]byte, len(magic))
	if _, err := io.ReadFull(z, head); err != nil {
		return nil, fmt.Errorf("belief: %w", err)
	}
	if string(head) != magic {
		return nil, errors.New("belief: not a library of rain by hour")
	}
	l := &Library{}
	for {
		var h header
		switch err := binary.Read(z, binary.LittleEndian, &h); {
		case errors.Is(err, io.EOF):
			return l, nil
		case err != nil:
			return nil, fmt.Errorf("belief: record %d: %w", len(l.records), err)
		}
		lat, lon := float64(h.Latitude), float64(h.Longitude)
		if len(l.records) == mostRecords || h.Hours > mostHours || !(math.Abs(lat) <= 90) || !(math.Abs(lon) <= 180) {
			return nil, fmt.Errorf("belief: record %d has impossible values", len(l.records))
		}
		var body bytes.Buffer // grows with what is there, not with what the header claims
		n, err := io.CopyN(&body, z, int64(h.Name)+int64(h.Hours))
		if err != nil {
			return nil, fmt.Errorf("belief: record %d ends after %d bytes: %w", len(l.records), n, err)
		}
		b := body.Bytes()
		l.records = append(l.records, Record{Region: string(b[:h.Name]), Latitude: lat, Longitude: lon,
			Start: time.Unix(h.Start*3600, 0).UTC(), Codes: b[h.Name:]})
	}
}
