package ready

import (
	"bytes"
	"compress/gzip"
	"io"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"
)

// Whatever the pieces and the age, both forms hold the pieces with the age
// between them; the reader of gzip checks length and checksum.
func TestBothFormsSayTheSame(t *testing.T) {
	t.Parallel()
	since := time.Date(2026, 4, 1, 5, 0, 0, 0, time.UTC)
	r := rand.New(rand.NewPCG(4, 1))
	for range 300 {
		pieces := make([][]byte, 1+r.IntN(12))
		for i := range pieces {
			pieces[i] = make([]byte, r.IntN(9000))
			for k := range pieces[i] {
				pieces[i][k] = byte('a' + r.IntN(3))
			}
		}
		a, err := New(pieces)
		if err != nil {
			t.Fatal(err)
		}
		late := time.Duration(r.Int64N(int64(3000*time.Minute))) - time.Hour
		want := bytes.Join(pieces, []byte(strconv.Itoa(max(0, int(late/time.Minute)))))
		plain, err := Body(a.Plain, since, since.Add(late))
		if err != nil || !bytes.Equal(plain, want) {
			t.Fatalf("%d pieces: %d bytes, want %d (%v)", len(pieces), len(plain), len(want), err)
		}
		packed, err := Gzip(a.Packed, since, since.Add(late))
		if err != nil {
			t.Fatal(err)
		}
		z, err := gzip.NewReader(bytes.NewReader(packed))
		if err != nil {
			t.Fatal(err)
		}
		z.Multistream(false)
		got, err := io.ReadAll(z)
		if err != nil || !bytes.Equal(got, want) {
			t.Fatalf("%d pieces: %d bytes, want %d (%v)", len(pieces), len(got), len(want), err)
		}
	}
}

func TestABrokenBodyIsAnError(t *testing.T) {
	t.Parallel()
	a, err := New([][]byte{[]byte(`{"age_min":`), []byte(`}`)})
	if err != nil {
		t.Fatal(err)
	}
	for n := range len(a.Plain) {
		if _, err := Body(a.Plain[:n], time.Time{}, time.Time{}); err == nil {
			t.Errorf("the first %d of %d bytes are taken for a body", n, len(a.Plain))
		}
	}
	for n := range len(a.Packed) {
		if _, err := Gzip(a.Packed[:n], time.Time{}, time.Time{}); err == nil {
			t.Errorf("the first %d of %d bytes are taken for a body", n, len(a.Packed))
		}
	}
	if _, err := Body(append(a.Plain, 0), time.Time{}, time.Time{}); err == nil {
		t.Error("a body with a byte too many is taken")
	}
}
