package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"lastgood/api"
	"lastgood/workflow"
)

// serveCmd serves the API on a kept or given database.
type serveCmd struct {
	Listen               string `default:"127.0.0.1:8080" help:"Address to listen on; port 0 chooses a free one."`
	AllowPrivateWebhooks bool   `help:"Send events to addresses inside the plant's own network too."`
	kept
}

// Run serves until the context ends.
func (c *serveCmd) Run(g *globals) error {
	if c.Data == "" && c.DatabaseURL == "" {
		return usage{errors.New("serve keeps records: give --data DIR, or --database-url and --owner-url")}
	}
	s, err := c.open(g.ctx)
	if err != nil {
		return err
	}
	defer s.close()
	l, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return err
	}
	fmt.Fprintf(g.out, "serving on http://%s\n", l.Addr())
	return serve(g.ctx, s, l, workflow.JobOptions{Log: slog.New(slog.NewJSONHandler(g.err, nil)), AllowPrivateWebhooks: c.AllowPrivateWebhooks})
}

// maxJSON bounds a JSON body: an import sends all checks of a folder at once.
const maxJSON = 16 << 20

// Time limits of a connection. Uploads extend the read limit while bytes flow.
const (
	headerTime = 10 * time.Second
	readTime   = 30 * time.Second
	idleTime   = 2 * time.Minute
	drainTime  = 20 * time.Second
)

// serve answers requests and does the jobs until the context ends, then finishes
// what it has begun. It also ends when the private database does.
func serve(ctx context.Context, s *store, l net.Listener, o workflow.JobOptions) error {
	log := o.Log
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	srv := &http.Server{Handler: api.New(s.svc, api.Options{Log: log, MaxBody: maxJSON}), ReadHeaderTimeout: headerTime, ReadTimeout: readTime, IdleTimeout: idleTime,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
	jobs, err := s.svc.StartJobs(ctx, o)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	if s.server != nil {
		go func() {
			select {
			case <-s.server.Done():
				cancel(fmt.Errorf("the private database ended: %v", cmp.Or(s.server.Err(), errors.New("nobody asked it to"))))
			case <-ctx.Done():
			}
		}()
	}
	drained := make(chan struct{})
	go func() {
		defer close(drained)
		<-ctx.Done()
		stop, done := context.WithTimeout(context.Background(), drainTime)
		defer done()
		if err := srv.Shutdown(stop); err != nil {
			log.Warn("requests were cut off", "error", err.Error())
		}
	}()
	err = srv.Serve(l)
	cancel(nil)
	<-drained // Serve returns at once; the requests under way still need the database
	stop, done := context.WithTimeout(context.Background(), drainTime)
	defer done()
	if err := jobs.Stop(stop); err != nil {
		log.Warn("jobs were cut off", "error", err.Error())
	}
	if !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	if cause := context.Cause(ctx); cause != nil && !errors.Is(cause, context.Canceled) {
		return cause
	}
	return nil
}
