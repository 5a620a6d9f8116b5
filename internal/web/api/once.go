package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"dryslot/internal/fault"
	"dryslot/internal/idempotency"
	"dryslot/internal/message"
	"dryslot/internal/web"
)

// once runs fn in one transaction of the caller's account. With an idempotency
// key the answer is kept in that same transaction, so that it is there if and
// only if the effect is: the same request again gets the same answer, another
// body 422, and one that comes while the first is under way 409. An error
// undoes everything and is not kept: the request may be sent again.
func once[B any](ctx context.Context, s *server, c *call,
	fn func(context.Context, web.Tx) (*reply[B], error)) (*reply[B], error) {
	var out *reply[B]
	err := s.store.InAccount(ctx, c.account, func(ctx context.Context, tx web.Tx) (err error) {
		if c.key == "" {
			out, err = fn(ctx, tx)
			return err
		}
		kept, err := tx.Remembered(ctx, c.route, c.key, s.Wall())
		switch {
		case err == nil:
			out, err = repeat[B](c, kept)
			return err
		case errors.Is(err, fault.Conflict):
			return web.NewProblem(http.StatusConflict, message.New(KeyInUse),
				web.AtFault("Idempotency-Key", c.key, KeyFree))
		case !errors.Is(err, fault.NotFound):
			return err
		}
		if out, err = fn(ctx, tx); err != nil {
			return err
		}
		body, err := json.Marshal(out)
		if err != nil {
			return fmt.Errorf("web: keep an answer: %w", err)
		}
		return tx.Remember(ctx, c.route, c.key, idempotency.Answer{BodyHash: c.hash, Status: out.Status, Body: body},
			s.Wall())
	})
	return out, err
}

func repeat[B any](c *call, kept idempotency.Answer) (*reply[B], error) {
	if !bytes.Equal(kept.BodyHash, c.hash) {
		return nil, web.NewProblem(http.StatusUnprocessableEntity, message.New(KeyOtherBody),
			web.AtFault("Idempotency-Key", c.key, KeySameBody))
	}
	var out reply[B]
	if err := json.Unmarshal(kept.Body, &out); err != nil {
		return nil, fmt.Errorf("web: read a kept answer: %w", err)
	}
	return &out, nil
}

// in runs fn in one transaction of the caller's account.
func (s *server) in(ctx context.Context, c *call, fn func(context.Context, web.Tx) error) error {
	return s.store.InAccount(ctx, c.account, fn)
}
