package local

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// ensureRoles makes sure of the two roles and the database. Every step can be
// repeated, so that a start that was killed between two is made whole by the
// next.
func (s *Server) ensureRoles(ctx context.Context) error {
	err := s.asAdmin(ctx, "postgres", func(conn *pgx.Conn) error {
		for role, password := range map[string]string{ownerRole: s.passwords.Owner, serviceRole: s.passwords.Service} {
			// Utility statements take no parameters; both values are ours, letters and digits.
			if err := unless(ctx, conn, "select exists (select from pg_roles where rolname = '"+role+"')",
				"create role "+role+" login nosuperuser nobypassrls nocreatedb nocreaterole password '"+password+
					"'"); err != nil {
				return err
			}
		}
		return unless(ctx, conn, "select exists (select from pg_database where datname = '"+database+"')",
			"create database "+database+" owner "+ownerRole)
	})
	if err != nil {
		return err
	}
	// Before version 15 everybody may create things in public, and the
	// database's owner need not own it.
	return s.asAdmin(ctx, database, func(conn *pgx.Conn) error {
		if err := unless(ctx, conn,
			"select has_schema_privilege('"+ownerRole+"', 'public', 'create') and not has_schema_privilege('"+
				serviceRole+"', 'public', 'create')",
			"grant all on schema public to "+ownerRole+"; revoke create on schema public from public"); err != nil {
			return err
		}
		return unless(ctx, conn, "select not has_database_privilege('"+serviceRole+"', '"+database+"', 'temporary')",
			"revoke temporary on database "+database+" from public")
	})
}

func (s *Server) asAdmin(ctx context.Context, db string, fn func(*pgx.Conn) error) error {
	conn, err := pgx.Connect(ctx, s.AdminURL(db))
	if err != nil {
		return fmt.Errorf("local: connecting to %s: %w", db, err)
	}
	err = fn(conn)
	return errors.Join(err, conn.Close(ctx))
}

// unless runs statements when a question is answered with false.
func unless(ctx context.Context, conn *pgx.Conn, question, statements string) error {
	var yes bool
	if err := conn.QueryRow(ctx, question).Scan(&yes); err != nil {
		return fmt.Errorf("local: looking at the roles: %w", err)
	}
	if yes {
		return nil
	}
	if _, err := conn.Exec(ctx, statements); err != nil {
		return fmt.Errorf("local: making roles and database: %w", err)
	}
	return nil
}
