package postgres

import (
	"context"
	"encoding/hex"
	"errors"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"dryslot/internal/fault"
)

// shortestID is how many characters of a token's id name it at least. The id
// is 16 hexadecimal digits of the token's digest, from which nothing of it can be learnt.
const shortestID = 6

// Token is what is kept of a bearer token: never the token itself.
type Token struct {
	ID        string // 16 hexadecimal digits
	Account   string
	CreatedAt time.Time
	RevokedAt *time.Time // nil: it opens its account
}

// Tokens looks after the bearer tokens of all accounts, for the operator.
type Tokens struct{ conn *pgx.Conn }

// OpenTokens connects to a migrated database as its owner. A database that is
// not migrated is fault.Unavailable.
func OpenTokens(ctx context.Context, ownerURL string) (*Tokens, error) {
	conn, err := pgx.Connect(ctx, ownerURL)
	if err != nil {
		return nil, wrap("connecting to look after tokens", err)
	}
	if err := checkVersion(ctx, conn); err != nil {
		return nil, errors.Join(err, conn.Close(ctx))
	}
	return &Tokens{conn}, nil
}

// Close ends the connection.
func (t *Tokens) Close(ctx context.Context) error {
	return wrap("closing a connection", t.conn.Close(ctx))
}

// readToken is what every query of tokens gives.
const readToken = `left(encode(digest, 'hex'), 16) as id, account::text as account, created_at, revoked_at`

// List returns all tokens, revoked ones too: accounts in the order of their
// first token, the oldest token of each first.
func (t *Tokens) List(ctx context.Context) ([]Token, error) {
	rows, err := t.conn.Query(ctx, `select `+readToken+` from tokens
		order by min(created_at) over (partition by account), account, created_at, digest`)
	if err != nil {
		return nil, wrapOwner("listing tokens", err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByName[Token])
	return list, wrapOwner("listing tokens", err)
}

// Add makes a token of an account, or of a new account when account is empty,
// and returns it in clear: it is shown once and kept as its digest alone. An
// account that is not there is fault.NotFound.
func (t *Tokens) Add(ctx context.Context, account string) (secret string, kept Token, err error) {
	fresh := account == ""
	if fresh {
		if account, err = newID(); err != nil {
			return "", kept, err
		}
	} else if _, err := parseID(account); err != nil {
		return "", kept, fault.Wrap(fault.NotFound, "there is no account "+account, err)
	}
	secret = newSecret()
	err = pgx.BeginFunc(ctx, t.conn, func(tx pgx.Tx) error {
		if fresh {
			// Accounts are under row-level security, their owner too.
			if _, err := tx.Exec(ctx, `select set_config('dryslot.account', $1, true)`, account); err != nil {
				return err
			}
			if _, err := tx.Exec(ctx, `insert into accounts (id) values ($1)`, account); err != nil {
				return err
			}
		}
		rows, err := tx.Query(ctx, `insert into tokens (digest, account) values ($1, $2) returning `+readToken,
			digest(secret), account)
		if err != nil {
			return err
		}
		kept, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[Token])
		return err
	})
	if isCode(err, codeForeignKey) {
		err = fault.Wrap(fault.NotFound, "there is no account "+account, err)
	}
	if err != nil {
		return "", Token{}, wrapOwner("adding a token", err)
	}
	return secret, kept, nil
}

// Revoke makes a token invalid from the next request on, and
// signs out every browser of its account, since none is known to have signed
// in by another. id may be cut short as long as it names one token, 6
// characters at least; where it names none the error is fault.NotFound, where it
// names several fault.Conflict. Revoking again only signs out again.
func (t *Tokens) Revoke(ctx context.Context, id string) (Token, error) {
	if _, err := hex.DecodeString(id + strings.Repeat("0", len(id)%2)); err != nil || len(id) < shortestID ||
		len(id) > 16 {
		var bad fault.List
		bad.Add("id", id, "must be 6 to 16 hexadecimal digits, as the list shows them")
		return Token{}, bad.Err("no token is named so")
	}
	var revoked Token
	err := pgx.BeginFunc(ctx, t.conn, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `update tokens set revoked_at = coalesce(revoked_at, now())
			where starts_with(encode(digest, 'hex'), lower($1)) returning `+readToken, id)
		if err != nil {
			return err
		}
		all, err := pgx.CollectRows(rows, pgx.RowToStructByName[Token])
		switch {
		case err != nil:
			return err
		case len(all) == 0:
			return fault.New(fault.NotFound, "no token has the id "+id)
		case len(all) > 1: // what was done is undone
			return fault.New(fault.Conflict, "several tokens have an id that begins with "+id+": give more of it")
		}
		revoked = all[0]
		_, err = tx.Exec(ctx, `delete from sessions where account = $1`, revoked.Account)
		return err
	})
	if err != nil {
		return Token{}, wrapOwner("revoking a token", err)
	}
	return revoked, nil
}

// Link makes a link that signs one browser in to an account until it expires,
// and returns its key. An account that is not there is fault.NotFound.
func (t *Tokens) Link(ctx context.Context, account string, expires time.Time) (key string, err error) {
	if _, err := parseID(account); err != nil {
		return "", fault.Wrap(fault.NotFound, "there is no account "+account, err)
	}
	key = newSecret()
	_, err = t.conn.Exec(ctx, `insert into sign_in_links (digest, account, expires_at) values ($1, $2, $3)`,
		digest(key), account, expires)
	if isCode(err, codeForeignKey) {
		err = fault.Wrap(fault.NotFound, "there is no account "+account, err)
	}
	if err != nil {
		return "", wrapOwner("making a sign-in link", err)
	}
	return key, nil
}

// wrapOwner is wrap, and says whose connection is wanted where rights lack.
func wrapOwner(doing string, err error) error {
	if isDenied(err) {
		return fault.Wrap(fault.Forbidden,
			"postgres: "+doing+" takes the owner's connection: give it in DATABASE_MIGRATE_URL", err)
	}
	return wrap(doing, err)
}
