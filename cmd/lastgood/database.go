package main

import (
	"context"
	"errors"
	"time"

	"lastgood/migrations"
	"lastgood/workflow"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgserver"
)

// store is an open database with the engine on it.
type store struct {
	svc    *workflow.Service
	db     *pg.DB
	app    string // the application's connection string
	admin  string // a superuser's, on a private server; else empty
	server *pgserver.Server
	// readOnly: the trail has gone back, and nothing may be written.
	readOnly bool
}

// open opens the given database, or a private throw-away one, and migrates it.
func (d database) open(ctx context.Context) (*store, error) { return kept{"", d}.open(ctx) }

// open opens the given database, or a private one in the given folder, and
// migrates it.
func (d kept) open(ctx context.Context) (*store, error) {
	s := &store{app: d.DatabaseURL}
	owner := d.OwnerURL
	if (s.app == "") != (owner == "") {
		return nil, usage{errors.New("--database-url and --owner-url go together: the owner's role migrates, the application's role works")}
	}
	if s.app != "" && d.Data != "" {
		return nil, usage{errors.New("--data is for the private PostgreSQL: leave it out with --database-url")}
	}
	if s.app == "" {
		server, err := pgserver.Start(ctx, pgserver.Options{Dir: d.Data, BinDir: d.PGBin})
		if err != nil {
			return nil, err
		}
		s.server = server
		s.app, owner, s.admin = server.AppURL("lastgood"), server.OwnerURL("lastgood"), server.AdminURL("lastgood")
	}
	if err := s.start(ctx, owner); err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

func (s *store) start(ctx context.Context, owner string) (err error) {
	if _, err = migrations.Up(ctx, owner); err != nil {
		return err
	}
	if s.db, err = pg.Open(ctx, s.app, time.Now); err != nil {
		return err
	}
	s.svc, err = workflow.New(s.db)
	return err
}

func (s *store) close() {
	if s.db != nil {
		s.db.Close()
	}
	if s.server != nil {
		s.server.Stop(10 * time.Second)
	}
}
