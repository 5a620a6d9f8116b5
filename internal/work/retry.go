package work

import (
	"hash/fnv"
	"io"
	"time"
)

// Jitter returns a part of most, from 0 up to most, that depends on the key and
// n only: work that falls due together is spread, the same way at every start.
func Jitter(most time.Duration, key string, n int) time.Duration {
	h := fnv.New64a()
	_, _ = io.WriteString(h, key) // a hash never fails to write
	_, _ = h.Write([]byte{byte(n), byte(n >> 8), byte(n >> 16)})
	const grains = 1 << 20
	return time.Duration(float64(most) * float64(h.Sum64()%grains) / grains)
}

// Backoff returns how long to wait after the n-th failure in a row, from 1:
// first, doubled each time, up to most. The last half of it is jitter.
func Backoff(first, most time.Duration, key string, n int) time.Duration {
	d := most
	if n < 16 {
		d = min(most, first<<max(0, n-1))
	}
	return d/2 + Jitter(d/2, key, n)
}
