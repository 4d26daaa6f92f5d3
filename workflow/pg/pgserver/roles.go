//go:build linux

package pgserver

import (
	"context"
	"database/sql"
	"fmt"

	_ "github.com/lib/pq" // to make the roles
)

// makeRoles makes the roles and the database. It is run at each start, so that a
// start that was cut short mends itself.
func (s *Server) makeRoles(ctx context.Context) error {
	if err := s.administer(ctx, "postgres", roles); err != nil {
		return fmt.Errorf("roles: %w", err)
	}
	var there bool
	if err := s.query(ctx, "postgres", &there, hasDatabase); err != nil {
		return fmt.Errorf("database: %w", err)
	}
	if !there {
		if err := s.administer(ctx, "postgres", `create database lastgood owner lastgood_owner`); err != nil {
			return fmt.Errorf("database: %w", err)
		}
	}
	if err := s.administer(ctx, "lastgood", doors); err != nil {
		return fmt.Errorf("rights: %w", err)
	}
	return nil
}

const roles = `
do $$ begin
  if not exists (select from pg_roles where rolname = 'lastgood_owner') then create role lastgood_owner login; end if;
  if not exists (select from pg_roles where rolname = 'lastgood_application') then create role lastgood_application nologin; end if;
  if not exists (select from pg_roles where rolname = 'lastgood_app') then create role lastgood_app login; end if;
  if not pg_has_role('lastgood_app', 'lastgood_application', 'member') then grant lastgood_application to lastgood_app; end if;
end $$`

const hasDatabase = `select exists (select from pg_database where datname = 'lastgood')`

// doors: the application stages readings in a temporary table of its own, and
// makes nothing that lasts. Before PostgreSQL 15 everybody could make tables.
const doors = `
revoke all on database lastgood from public;
grant connect, temporary on database lastgood to lastgood_application;
revoke create on schema public from public;
grant create on schema public to lastgood_owner`

func (s *Server) administer(ctx context.Context, db, statements string) error {
	conn, err := sql.Open("postgres", s.AdminURL(db))
	if err != nil {
		return err
	}
	defer conn.Close()
	_, err = conn.ExecContext(ctx, statements)
	return err
}

func (s *Server) query(ctx context.Context, db string, into any, question string) error {
	conn, err := sql.Open("postgres", s.AdminURL(db))
	if err != nil {
		return err
	}
	defer conn.Close()
	return conn.QueryRowContext(ctx, question).Scan(into)
}
