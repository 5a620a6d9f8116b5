package app

import (
	"context"
	"errors"
	"net"
	"net/http"
	"sync"
	"testing"
)

// A request that does not end must not keep the service, and the database
// connection that it holds, for ever.
func TestRequestsThatDoNotEndAreCutOff(t *testing.T) {
	inside, left := make(chan struct{}), make(chan struct{})
	srv := &http.Server{Handler: http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		close(inside)
		<-r.Context().Done()
		close(left)
	})}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- srv.Serve(l) }()
	var asking sync.WaitGroup
	asking.Go(func() {
		if resp, err := http.Get("http://" + l.Addr().String()); err == nil {
			resp.Body.Close()
			t.Error("it was answered")
		}
	})
	<-inside
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := shutDown(ctx, srv); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped with %v", err)
	}
	<-left
	asking.Wait()
	if err := <-served; !errors.Is(err, http.ErrServerClosed) {
		t.Error(err)
	}
}
