package main

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"lastgood/api"
	"lastgood/workflow"
	"lastgood/workflow/job"
)

// serveCmd serves the API on a kept or given database.
type serveCmd struct {
	Listen               string `default:"127.0.0.1:8080" help:"Address to listen on; port 0 chooses a free one."`
	AllowPrivateWebhooks bool   `help:"Send events to addresses inside the plant's own network too."`
	CheckpointFile       string `name:"checkpoint-file" type:"path" help:"Witness: a file, best on another disk, to which every checkpoint of the trail is added. At the start the trail is compared with it; if it has gone back, nothing is written."`
	TLSCert              string `name:"tls-cert" type:"existingfile" help:"Certificate, with the chain below its root, as PEM; with --tls-key. Without it the answers are readable by everybody on the way."`
	TLSKey               string `name:"tls-key" type:"existingfile" help:"The certificate's private key, as PEM."`
	keyFlag
	kept
}

// Run serves until the context ends.
func (c *serveCmd) Run(g *globals) error {
	if c.Data == "" && c.DatabaseURL == "" {
		return usage{errors.New("serve keeps records: give --data DIR, or --database-url and --owner-url")}
	}
	secured, err := securedBy(c.TLSCert, c.TLSKey)
	if err != nil {
		return usage{err}
	}
	s, err := c.open(g.ctx)
	if err != nil {
		return err
	}
	defer s.close()
	log := slog.New(slog.NewJSONHandler(g.err, nil))
	o := workflow.JobOptions{Log: log, AllowPrivateWebhooks: c.AllowPrivateWebhooks}
	if o.Checkpointed, err = c.witness(g, s, log); err != nil {
		return err
	}
	l, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return err
	}
	where := "http://"
	if secured != nil {
		where = "https://"
	}
	if warning := readable(l.Addr(), secured); warning != "" {
		log.Warn(warning, "mend", "give --tls-cert and --tls-key, or listen on 127.0.0.1 behind a proxy that has them")
	}
	fmt.Fprintf(g.out, "serving on %s%s\n", where, l.Addr())
	return serve(g.ctx, s, l, secured, o)
}

// witness gives the engine its key, and looks whether the trail is what the
// witness saw of it. If it is not, nothing is written, and somebody is told as
// loudly as a log can.
func (c *serveCmd) witness(g *globals, s *store, log *slog.Logger) (func([]byte) error, error) {
	key, err := c.signer(c.kept, g.err)
	if err != nil {
		return nil, err
	}
	s.svc.SignWith(key)
	wrong, err := regressed(g.ctx, s.svc, c.CheckpointFile)
	if err != nil {
		return nil, err
	}
	if wrong != "" {
		s.readOnly = true
		s.svc.OnlyRead(wrong)
		log.Error("THE TRAIL HAS GONE BACK: nothing is written", "rule", workflow.LogRegressed, "found", wrong, "witness", c.CheckpointFile)
		return nil, nil
	}
	return witnessTo(c.CheckpointFile)
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

// maxHeader bounds the head of a request, its address included.
const maxHeader = 32 << 10

// serve answers requests and does the jobs until the context ends, then finishes
// what it has begun. It also ends when the private database does.
func serve(ctx context.Context, s *store, l net.Listener, secured *tls.Config, o workflow.JobOptions) error {
	log := o.Log
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	srv := newServer(api.New(s.svc, api.Options{Log: log, MaxBody: maxJSON}), secured, log)
	jobs, err := startJobs(ctx, s, o)
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
	err = listenTo(srv, l)
	cancel(nil)
	<-drained // Serve returns at once; the requests under way still need the database
	stop, done := context.WithTimeout(context.Background(), drainTime)
	defer done()
	if jobs != nil {
		if err := jobs.Stop(stop); err != nil {
			log.Warn("jobs were cut off", "error", err.Error())
		}
	}
	if !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	if cause := context.Cause(ctx); cause != nil && !errors.Is(cause, context.Canceled) {
		return cause
	}
	return nil
}

// newServer is a server with its limits; secured nil: without TLS.
func newServer(h http.Handler, secured *tls.Config, log *slog.Logger) *http.Server {
	return &http.Server{Handler: h, TLSConfig: secured, ReadHeaderTimeout: headerTime, ReadTimeout: readTime, IdleTimeout: idleTime, MaxHeaderBytes: maxHeader,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
}

// listenTo serves until the server is shut down.
func listenTo(srv *http.Server, l net.Listener) error {
	if srv.TLSConfig != nil {
		return srv.ServeTLS(l, "", "") // the certificate is in the configuration
	}
	return srv.Serve(l)
}

// startJobs starts the jobs; none where nothing may be written.
func startJobs(ctx context.Context, s *store, o workflow.JobOptions) (*job.Runner, error) {
	if s.readOnly {
		return nil, nil
	}
	return s.svc.StartJobs(ctx, o)
}
