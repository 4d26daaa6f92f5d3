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
	Listen string `default:"127.0.0.1:8080" help:"Address to listen on; port 0 chooses a free one."`
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
	return serve(g.ctx, s, l, slog.New(slog.NewJSONHandler(g.err, nil)))
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

// serve answers requests and traces what is due until the context ends, then
// finishes what it has begun. It also ends when the private database does.
func serve(ctx context.Context, s *store, l net.Listener, log *slog.Logger) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	srv := &http.Server{Handler: api.New(s.svc, api.Options{Log: log, MaxBody: maxJSON}), ReadHeaderTimeout: headerTime, ReadTimeout: readTime, IdleTimeout: idleTime,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
	tracing := make(chan struct{})
	go func() {
		defer close(tracing)
		traceDue(ctx, s.svc, log)
	}()
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
	err := srv.Serve(l)
	cancel(nil)
	<-drained // Serve returns at once; the requests under way still need the database
	<-tracing
	if !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	if cause := context.Cause(ctx); cause != nil && !errors.Is(cause, context.Canceled) {
		return cause
	}
	return nil
}

// lookEvery is how often the server looks for deviations that late evidence made
// due. What is due stands in the database: nothing is lost between looks.
const lookEvery = 200 * time.Millisecond

// traceDue traces what is due until the context ends. After a failure it waits
// longer each time, up to a minute.
func traceDue(ctx context.Context, svc *workflow.Service, log *slog.Logger) {
	wait := lookEvery
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
		n, err := svc.RetraceDue(ctx)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			wait = min(2*wait, time.Minute)
			log.Error("trace", "error", err.Error())
		default:
			wait = lookEvery
		}
		if n > 0 {
			log.Info("traced", "deviations", n)
		}
	}
}
