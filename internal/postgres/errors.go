package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"dryslot/internal/fault"
)

// SQLSTATE codes that are handled differently (PostgreSQL, "Error Codes").
const (
	codeBadText         = "22021" // character not in repertoire: a NUL, or broken UTF-8
	codeUntranslatable  = "22P05" // a NUL escaped in JSON
	codeForeignKey      = "23503"
	codeUnique          = "23505"
	codeSerialization   = "40001"
	codeDeadlock        = "40P01"
	codeLockNotFree     = "55P03"
	codeUndefinedTable  = "42P01"
	codeDenied          = "42501"
	codeQueryCanceled   = "57014"
	codeInTransaction   = "25001" // active transaction: a statement of ours stands where it must not
	codeAborted         = "25P02" // the transaction failed before: a mistake of ours went unnoticed
	classDataException  = "22"
	classCheckViolation = "23"
)

// passing are the classes of error that may be gone at the next try.
var passing = []string{
	"08", // connection exception
	"25", // invalid transaction state: a standby takes no writes (25006), a transaction was ended (25P03, 25P04)
	"53", // insufficient resources
	"57", // operator intervention
	"58", // system error
	"XX", // internal error: the server itself, or what lies on its disk, is at fault
}

// wrap gives an error its kind and says what was being done. An error that has
// a kind already keeps it.
func wrap(doing string, err error) error {
	if err == nil {
		return nil
	}
	if fault.KindOf(err) != "" {
		return err
	}
	doing = "postgres: " + doing
	if errors.Is(err, pgx.ErrNoRows) {
		return fault.Wrap(fault.NotFound, doing+": there is no such row", err)
	}
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return wrapCode(doing, pg, err)
	}
	var connect *pgconn.ConnectError
	var network net.Error
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return fault.Wrap(fault.Unavailable, doing+": broken off", err)
	case errors.As(err, &connect), errors.As(err, &network), pgconn.Timeout(err), pgconn.SafeToRetry(err),
		errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF): // the connection broke off within an answer
		return fault.Wrap(fault.Unavailable, doing+": the database does not answer", err)
	}
	return fmt.Errorf("%s: %w", doing, err)
}

func wrapCode(doing string, pg *pgconn.PgError, err error) error {
	switch pg.Code {
	case codeBadText, codeUntranslatable:
		return fault.Wrap(fault.Invalid, doing+": text must be UTF-8 without NUL characters", err)
	case codeForeignKey:
		return fault.Wrap(fault.NotFound, doing+": what it belongs to is not there", err)
	case codeUnique:
		return fault.Wrap(fault.Conflict, doing+": it is there already", err)
	case codeSerialization, codeDeadlock, codeLockNotFree, codeQueryCanceled:
		return fault.Wrap(fault.Unavailable, doing+": another change got in the way", err)
	case codeInTransaction, codeAborted:
		return fmt.Errorf("%s: %w", doing, err)
	}
	class := pg.Code[:min(2, len(pg.Code))]
	for _, c := range passing {
		if class == c {
			return fault.Wrap(fault.Unavailable, doing+": the database can't do it now", err)
		}
	}
	if class == classDataException || class == classCheckViolation {
		return fault.Wrap(fault.Invalid, doing+": a value can't be stored", err)
	}
	return fmt.Errorf("%s: %w", doing, err)
}

func isCode(err error, code string) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && pg.Code == code
}

func isUndefined(err error) bool { return isCode(err, codeUndefinedTable) }

func isDenied(err error) bool { return isCode(err, codeDenied) }

// checkText refuses text that PostgreSQL would, before it breaks a transaction.
func checkText(field, value string) error {
	if !strings.Contains(value, "\x00") {
		return nil
	}
	var bad fault.List
	bad.Break(field, strings.ReplaceAll(value, "\x00", `\u0000`), fault.RuleOf(fault.NulCharacter))
	return bad.Broken(fault.NulCharacter)
}
