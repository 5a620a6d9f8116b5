package postgres

import (
	"fmt"
	"io"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"

	"dryslot/internal/fault"
)

// Each error of the database has the kind that its code has in PostgreSQL's
// "Error Codes", and none that another code would have.
func TestKindsOfErrors(t *testing.T) {
	for code, want := range map[string]fault.Kind{
		// a standby; ended transactions
		"25006": fault.Unavailable, "25P03": fault.Unavailable, "25P04": fault.Unavailable,
		"57014": fault.Unavailable, "57P01": fault.Unavailable, "57P02": fault.Unavailable, "57P03": fault.Unavailable,
		"08006": fault.Unavailable, "08P01": fault.Unavailable, "53300": fault.Unavailable, "58030": fault.Unavailable,
		"XX000": fault.Unavailable, "40001": fault.Unavailable, "40P01": fault.Unavailable, "55P03": fault.Unavailable,
		"22021": fault.Invalid, "22P05": fault.Invalid, "22P02": fault.Invalid, "22003": fault.Invalid,
		"23514": fault.Invalid,
		"23503": fault.NotFound, "23505": fault.Conflict,
		"25P02": "", "25001": "", "42601": "", "42P01": "", "42501": "", "26000": "",
	} {
		if got := fault.KindOf(wrap("testing", &pgconn.PgError{Code: code})); got != want {
			t.Errorf("%s is %q, want %q", code, got, want)
		}
	}
	_, refused := pgconn.Connect(t.Context(), "postgres://nobody@127.0.0.1:1/none?sslmode=disable")
	for _, err := range []error{io.EOF, io.ErrUnexpectedEOF, fmt.Errorf("receive: %w", io.ErrUnexpectedEOF), refused} {
		if got := fault.KindOf(wrap("testing", err)); got != fault.Unavailable {
			t.Errorf("%v is %q", err, got)
		}
	}
}
