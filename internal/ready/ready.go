// Package ready owns answers that are kept as they are sent: plain and
// compressed, with the age of their forecast left out. It is put in when the
// answer is sent, so that an answer holds until something else changes.
package ready

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"strconv"
	"time"
)

// Key names an answer of one project.
type Key struct {
	Project  string
	Name     string // of what is answered, such as mornings/tomorrow, and by which program
	Language string // that was asked for; empty: the project's own
}

// Answer is an answer as it is kept.
type Answer struct {
	Tag         string    // its entity tag, without the W/ of a weak one
	Since       time.Time // what the age in it counts from; zero: there is none in it
	From, Until time.Time // it holds from when it was made and before when the clock alone changes it
	Plain       []byte    // encoded as a body
	Packed      []byte    // the same, compressed
}

// Query asks for an answer.
type Query struct {
	Key
	Now    time.Time
	Packed bool     // compressed
	Held   []string // tags of answers that the client has, or *
}

// Found is what a query found.
type Found struct {
	Account string
	Basis   string    // identifies what a new answer would be made from; empty: none can be kept
	Tag     string    // empty: no kept answer is still valid
	Since   time.Time // as in Answer
	Body    []byte    // Plain or Packed; nil: the client has it
}

// Sent returns the body of an answer as it is sent at the query's time, and
// whether it is compressed.
func (f Found) Sent(q Query) (body []byte, packed bool, err error) {
	if q.Packed {
		body, err = Gzip(f.Body, f.Since, q.Now)
	} else {
		body, err = Body(f.Body, f.Since, q.Now)
	}
	return body, q.Packed, err
}

// piece is a part of a body between two ages.
type piece struct {
	plain uint32 // bytes
	sum   uint32 // CRC-32 of the plain bytes (RFC 1952)
	bytes []byte // as kept: plain, or compressed by itself
}

// body is the pieces of an answer, encoded as their number and, for each, three
// numbers of four bytes and its bytes.
type body []piece

// New returns the answer of the pieces of a body; the age stands between each
// two of them.
func New(pieces [][]byte) (Answer, error) {
	var plain, packed body
	var out bytes.Buffer
	w, err := flate.NewWriter(&out, flate.DefaultCompression)
	if err != nil {
		return Answer{}, fmt.Errorf("ready: %w", err)
	}
	for i, p := range pieces {
		n, sum := uint32(len(p)), crc32.ChecksumIEEE(p)
		plain = append(plain, piece{n, sum, p})
		// Each by itself: nothing in it may refer back beyond an age.
		out.Reset()
		w.Reset(&out)
		_, err := w.Write(p)
		if err == nil && i < len(pieces)-1 {
			err = w.Flush() // ends at a whole byte (RFC 1951, 3.2.4)
		} else if err == nil {
			err = w.Close()
		}
		if err != nil {
			return Answer{}, fmt.Errorf("ready: compress: %w", err)
		}
		packed = append(packed, piece{n, sum, bytes.Clone(out.Bytes())})
	}
	return Answer{Plain: plain.encode(), Packed: packed.encode()}, nil
}

const head = 12 // bytes before those of a piece

func (b body) encode() []byte {
	n := 1
	for _, p := range b {
		n += head + len(p.bytes)
	}
	out := append(make([]byte, 0, n), byte(len(b)))
	for _, p := range b {
		out = binary.BigEndian.AppendUint32(out, p.plain)
		out = binary.BigEndian.AppendUint32(out, p.sum)
		out = binary.BigEndian.AppendUint32(out, uint32(len(p.bytes)))
		out = append(out, p.bytes...)
	}
	return out
}

func decode(b []byte) (body, error) {
	broken := fmt.Errorf("ready: a kept body of %d bytes is broken", len(b))
	if len(b) == 0 {
		return nil, broken
	}
	out := make(body, b[0])
	b = b[1:]
	for i := range out {
		if len(b) < head {
			return nil, broken
		}
		n := binary.BigEndian.Uint32(b[8:])
		if uint64(len(b)) < head+uint64(n) {
			return nil, broken
		}
		out[i] = piece{binary.BigEndian.Uint32(b), binary.BigEndian.Uint32(b[4:]), b[head : head+n]}
		b = b[head+n:]
	}
	if len(b) > 0 {
		return nil, broken
	}
	return out, nil
}

// age is what the body says of the age at an instant, in whole minutes.
func age(since, now time.Time) []byte {
	return strconv.AppendInt(nil, int64(max(0, now.Sub(since))/time.Minute), 10)
}

// Body returns a kept plain body with the ages that it states worked out for now.
func Body(kept []byte, since, now time.Time) ([]byte, error) {
	pieces, err := decode(kept)
	if err != nil {
		return nil, err
	}
	minutes := age(since, now)
	out := make([]byte, 0, len(kept)+len(pieces)*len(minutes))
	for i, p := range pieces {
		if i > 0 {
			out = append(out, minutes...)
		}
		out = append(out, p.bytes...)
	}
	return out, nil
}

// Gzip returns a kept compressed body with its ages worked out for now, as a gzip file
// (RFC 1952): an age is a block of its own that is stored as it is (RFC 1951,
// 3.2.4), and the checksum is put together from those of the pieces.
func Gzip(kept []byte, since, now time.Time) ([]byte, error) {
	pieces, err := decode(kept)
	if err != nil {
		return nil, err
	}
	minutes := age(since, now)
	out := make([]byte, 0, len(kept)+len(pieces)*(5+len(minutes))+18)
	out = append(out, 0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255) // deflate, no time, system unknown
	var sum, size uint32
	for i, p := range pieces {
		if i > 0 {
			n := uint16(len(minutes))
			out = binary.LittleEndian.AppendUint16(append(out, 0), n)
			out = append(binary.LittleEndian.AppendUint16(out, ^n), minutes...)
			sum = crc32.Update(sum, crc32.IEEETable, minutes)
			size += uint32(n)
		}
		out = append(out, p.bytes...)
		sum = moved(sum, p.plain) ^ p.sum
		size += p.plain
	}
	return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(out, sum), size), nil
}

// moved is what the checksum of what went before adds to that of n further
// bytes. CRC-32 is linear but for two inversions, which the checksum of as many
// zeros takes out.
func moved(sum, n uint32) uint32 {
	if sum == 0 {
		return 0
	}
	var zeros [4096]byte
	with, without := sum, uint32(0)
	for n > 0 {
		part := zeros[:min(n, uint32(len(zeros)))]
		with, without = crc32.Update(with, crc32.IEEETable, part), crc32.Update(without, crc32.IEEETable, part)
		n -= uint32(len(part))
	}
	return with ^ without
}
