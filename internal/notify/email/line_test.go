package email

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"dryslot/internal/fault"
	"dryslot/internal/notify/smtptest"
)

// scripted is a server at the other end of a pipe. Before each of its answers
// it waits as long as wait says, of the bubble's time; a negative wait is for
// ever. What it was asked is sent to heard.
type scripted struct {
	wait  func(asked string) time.Duration
	heard chan string
}

func (s *scripted) dial(context.Context, string, string) (net.Conn, error) {
	ours, theirs := net.Pipe()
	go s.serve(theirs)
	return ours, nil
}

func (s *scripted) serve(conn net.Conn) {
	defer close(s.heard)
	defer conn.Close()
	in := bufio.NewReader(conn)
	answers := map[string]string{"": "220 pipe", "EHLO": "250 pipe", "MAIL": "250 yes", "RCPT": "250 yes",
		"DATA": "354 go on", ".": "250 taken", "QUIT": "221 bye"}
	for asked, body := "", false; ; {
		if answer, ok := answers[asked]; ok && (!body || asked == ".") {
			s.heard <- asked
			body = asked == "DATA"
			if d := s.wait(asked); d < 0 {
				_, _ = in.ReadByte() // until the line is cut
				return
			} else if d > 0 {
				time.Sleep(d) // in a bubble: no time of the wall's passes
			}
			if _, err := fmt.Fprintf(conn, "%s\r\n", answer); err != nil {
				return
			}
		}
		text, err := in.ReadString('\n')
		if err != nil {
			return
		}
		asked, _, _ = strings.Cut(strings.TrimRight(text, "\r\n"), " ")
	}
}

func (s *scripted) channel(t *testing.T) *Channel {
	t.Helper()
	c := channel(t, Server{Host: "pipe.example", Port: 25})
	c.dial = s.dial
	return c
}

// Each answer comes within what any one step may take, and all of them
// together do not.
func TestOneDeadlineHoldsForTheWholeExchange(t *testing.T) {
	for _, slow := range []time.Duration{0, time.Second, 5 * time.Second, 7 * time.Second} {
		t.Run(slow.String(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := &scripted{wait: func(string) time.Duration { return slow }, heard: make(chan string, 10)}
				begun := time.Now()
				err := s.channel(t).Send(context.Background(), builder, word)
				lasted := time.Since(begun)
				if lasted > patience {
					t.Errorf("lasted %v", lasted)
				}
				if inTime := 7*slow < patience; inTime != (err == nil) {
					t.Errorf("with %v before each of 7 answers: %v", slow, err)
				}
				if err != nil && (!errors.Is(err, fault.Unavailable) || !errors.Is(err, context.DeadlineExceeded)) {
					t.Errorf("error %v", err)
				}
				for range s.heard { // it ends with the line
				}
			})
		})
	}
}

func TestTheCallersDeadlineHolds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &scripted{wait: func(string) time.Duration { return time.Second }, heard: make(chan string, 10)}
		ctx, cancel := context.WithTimeout(context.Background(), 3*time.Second+time.Second/2)
		defer cancel()
		begun := time.Now()
		if err := s.channel(t).Send(ctx, builder, word); !errors.Is(err, context.DeadlineExceeded) ||
			time.Since(begun) != 3*time.Second+time.Second/2 {
			t.Errorf("after %v: %v", time.Since(begun), err)
		}
		for range s.heard {
		}
	})
}

// Whatever the server is asked last, a stop breaks the exchange off there.
func TestAStopBreaksTheExchangeOff(t *testing.T) {
	for _, last := range []string{"", "EHLO", "MAIL", "RCPT", "DATA", "."} {
		t.Run("at "+last, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := &scripted{heard: make(chan string, 10), wait: func(asked string) time.Duration {
					if asked == last {
						return -1
					}
					return 0
				}}
				ctx, stop := context.WithCancel(context.Background())
				begun := time.Now()
				go func() {
					for asked := range s.heard {
						if asked == last {
							stop()
						}
					}
				}()
				err := s.channel(t).Send(ctx, builder, word)
				if !errors.Is(err, context.Canceled) || !errors.Is(err, fault.Unavailable) {
					t.Errorf("error %v", err)
				}
				if time.Since(begun) != 0 {
					t.Errorf("waited %v after the stop", time.Since(begun))
				}
			})
		})
	}
}

// What the server has taken is taken, though it does not say good-bye.
func TestAServerThatDoesNotSayGoodbyeHasTakenTheMail(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &scripted{heard: make(chan string, 10), wait: func(asked string) time.Duration {
			if asked == "QUIT" {
				return -1
			}
			return 0
		}}
		if err := s.channel(t).Send(context.Background(), builder, word); err != nil {
			t.Error(err)
		}
		for range s.heard { // the line is closed: else this never ends
		}
	})
}

func TestASignInWhereTLSComesFirst(t *testing.T) {
	server, client := keys(t)
	s := smtptest.Start(t, smtptest.Options{TLS: server, Implicit: true, User: "dry", Password: "s%l:t"})
	to := at(t, s.Addr)
	to.TLS, to.User, to.Password = true, "dry", "s%l:t"
	if err := channel(t, checked(to, client)).Send(context.Background(), builder, word); err != nil {
		t.Fatal(err)
	}
	if got := s.Received(); len(got) != 1 || !got[0].TLS || got[0].User != "dry" {
		t.Errorf("received %+v", got)
	}
}
