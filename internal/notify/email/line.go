package email

import (
	"context"
	"crypto/tls"
	"net"
	"time"
)

// line is the connection of one exchange. It is cut when ctx ends, by its
// deadline or by a stop, whatever waits on it: the library's own deadlines
// begin anew with every step.
type line struct {
	ctx     context.Context // of the whole exchange, longer than the dialling
	channel *Channel
	conn    net.Conn
	forget  func() bool
}

// open dials, for the library. The answer is a *tls.Conn where TLS comes first:
// from this the library knows that the line is encrypted.
func (l *line) open(ctx context.Context, network, address string) (net.Conn, error) {
	conn, err := l.channel.dial(ctx, network, address)
	if err != nil {
		return nil, err
	}
	l.conn = conn
	l.forget = context.AfterFunc(l.ctx, func() { _ = conn.Close() }) // a read or write that waits then fails
	if !l.channel.first {
		return steady{conn}, nil
	}
	encrypted := tls.Client(steady{conn}, l.channel.tls)
	if err := encrypted.HandshakeContext(l.ctx); err != nil {
		return nil, err
	}
	return encrypted, nil
}

// close ends the line. The library does so only when all went well.
func (l *line) close() {
	if l.conn != nil {
		l.forget()
		_ = l.conn.Close()
	}
}

// steady is a connection that takes no other deadline than that of its line.
type steady struct{ net.Conn }

func (steady) SetDeadline(time.Time) error      { return nil }
func (steady) SetReadDeadline(time.Time) error  { return nil }
func (steady) SetWriteDeadline(time.Time) error { return nil }
