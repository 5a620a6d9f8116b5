package feedtest

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"runtime/metrics"
	"syscall"
	"testing"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/forecast"
)

// Bounds on what decoding one document may take, whatever it holds.
const (
	mostBytes = 64 << 20
	mostTime  = time.Second
)

// Seed adds every recorded document and every recorded error to a fuzz test,
// with their lists cut to a few values: the fuzzer tries to shorten what it
// finds, which would take a minute for each large document.
func Seed(f *testing.F) {
	for _, folder := range []string{"open-meteo", "met-norway", "nws", "errors"} {
		files, err := filepath.Glob(filepath.Join(Recorded, folder, "*"))
		if err != nil || len(files) == 0 {
			f.Fatalf("no recorded documents in %s: %v", folder, err)
		}
		for _, file := range files {
			f.Add(shortened(Read(f, filepath.Join(folder, filepath.Base(file)))))
		}
	}
}

// shortened returns a document with its lists cut, or the beginning of what is
// no document.
func shortened(body []byte) []byte {
	const few, short = 4, 1500
	var cut func(v any) any
	cut = func(v any) any {
		switch v := v.(type) {
		case []any:
			v = v[:min(few, len(v))]
			for i := range v {
				v[i] = cut(v[i])
			}
			return v
		case map[string]any:
			for k := range v {
				v[k] = cut(v[k])
			}
		}
		return v
	}
	var v any
	if json.Unmarshal(body, &v) != nil {
		return body[:min(short, len(body))]
	}
	out, err := json.Marshal(cut(v))
	if err != nil {
		return body
	}
	return out
}

// Bounded runs decode and fails the test where it takes more memory or time
// than one document may. The time is that of the processor, so that a busy
// machine fails nothing.
func Bounded(t *testing.T, decode func()) {
	t.Helper()
	began := cpu(t)
	Small(t, decode)
	if got := cpu(t) - began; got > mostTime {
		t.Errorf("decoding took %v, want at most %v", got, mostTime)
	}
}

// Small fails the test where decode takes more memory than one document may,
// counting all that it allocates, also what is freed at once.
func Small(t *testing.T, decode func()) {
	t.Helper()
	before := allocated()
	decode()
	if got := allocated() - before; got > mostBytes {
		t.Errorf("decoding took %d MB, want at most %d", got>>20, mostBytes>>20)
	}
}

func allocated() uint64 {
	s := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64()
}

func cpu(t *testing.T) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// Sound fails the test unless a document was refused with fault.Invalid, or
// became a forecast of consecutive whole hours, not too many, with every value
// in its range.
func Sound(t *testing.T, fc *forecast.Forecast, err error) {
	t.Helper()
	if err != nil {
		if !errors.Is(err, fault.Invalid) {
			t.Errorf("error is %v, want %v", err, fault.Invalid)
		}
		return
	}
	if n := len(fc.Hours); n < 1 || n > forecast.MaxHours {
		t.Fatalf("%d hours", n)
	}
	consecutive(t, fc)
	for i := range fc.Hours {
		for v := range forecast.NumVariables {
			x := fc.Hours[i].Get(v)
			if lo, hi := v.Range(); x.Known && !(x.V >= lo && x.V <= hi) {
				t.Errorf("%v is %v", v, x.V)
			}
			if int(fc.Hours[i].From[v]) >= len(fc.Sources) {
				t.Errorf("%v comes from source %d of %d", v, fc.Hours[i].From[v], len(fc.Sources))
			}
		}
	}
}

// Race times a decoder beside encoding/json into a generic value on the same
// documents, turn by turn in one run, and prints how many times faster it is.
func Race(b *testing.B, name string, decode func([]byte) error, files ...string) {
	var docs [][]byte
	size := 0
	for _, file := range files {
		body := Read(b, file)
		docs = append(docs, body)
		size += len(body)
	}
	var ours, theirs time.Duration
	b.SetBytes(int64(size))
	for b.Loop() {
		began := time.Now()
		for _, d := range docs {
			if err := decode(d); err != nil {
				b.Fatal(err)
			}
		}
		between := time.Now()
		for _, d := range docs {
			var v any
			if err := json.Unmarshal(d, &v); err != nil {
				b.Fatal(err)
			}
		}
		ours += between.Sub(began)
		theirs += time.Since(between)
	}
	ratio := float64(theirs) / float64(ours)
	b.ReportMetric(ratio, "ratio")
	fmt.Printf("decode_%s_vs_any: %.2f ratio\n", name, ratio)
}
