package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"
)

// look is how often something that is waited for is looked at.
const look = 50 * time.Millisecond

// ask asks a version's API once. A nil body sends none, a nil into reads none.
func (v *version) ask(ctx context.Context, method, path string, body, into any) error {
	var sent io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return err
		}
		sent = bytes.NewReader(b)
	}
	req, err := http.NewRequestWithContext(ctx, method, v.base+path, sent)
	if err != nil {
		return err
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", "application/json")
	if method == http.MethodPatch {
		req.Header.Set("Content-Type", "application/merge-patch+json")
		req.Header.Set("If-Match", "*")
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return fmt.Errorf("the version %s: %w", v.name, err)
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(resp.Body)
	if err != nil {
		return fmt.Errorf("the version %s: %s %s: %w", v.name, method, path, err)
	}
	if resp.StatusCode >= 300 {
		return fmt.Errorf("the version %s: %s %s: %d %s", v.name, method, path, resp.StatusCode, answer)
	}
	if into == nil {
		return nil
	}
	if err := json.Unmarshal(answer, into); err != nil {
		return fmt.Errorf("the version %s: %s %s: %w", v.name, method, path, err)
	}
	return nil
}

// until looks until done reports that it is so. An error of done counts as not
// yet, and is told when the time is up.
func until(ctx context.Context, what string, done func() (bool, error)) error {
	tick := time.NewTicker(look)
	defer tick.Stop()
	for {
		is, err := done()
		if is {
			return nil
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return fmt.Errorf("waiting for %s: %w", what, errors.Join(ctx.Err(), err))
		}
	}
}
