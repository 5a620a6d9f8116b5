// Package idempotency owns the answer that is kept for a repeated request.
package idempotency

// Answer is a response kept for a repeated request.
type Answer struct {
	BodyHash []byte // of the request
	Status   int
	Header   map[string]string
	Body     []byte
}
