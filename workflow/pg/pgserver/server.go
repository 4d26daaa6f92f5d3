//go:build linux

package pgserver

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
	"syscall"
	"time"
)

// Options say how to run a server.
type Options struct {
	Dir    string    // its folder; empty: a throw-away one, removed at Stop
	BinDir string    // folder of the binaries; empty: search
	Log    io.Writer // what the server says; nil: nowhere
}

// Server is a running PostgreSQL.
type Server struct {
	opt       Options
	throwAway bool
	bin       string              // folder of the binaries
	account   *syscall.Credential // nil: our own
	data      string
	sockDir   string
	cmd       *exec.Cmd
	done      chan struct{}
	err       error
	lock      *os.File
	once      sync.Once
}

// Start starts a server, making its data folder if it is new, and returns when
// it takes connections and has its roles and its database "lastgood". It
// refuses a folder that another process uses or that another major version of
// PostgreSQL made.
func Start(ctx context.Context, o Options) (*Server, error) {
	s := &Server{opt: o, done: make(chan struct{})}
	err := s.start(ctx)
	if err == nil {
		return s, nil
	}
	if ctx.Err() != nil { // what was under way failed because of it
		return nil, fmt.Errorf("the start of PostgreSQL was broken off: %w", context.Cause(ctx))
	}
	return nil, err
}

func (s *Server) start(ctx context.Context) error {
	err := s.prepare(ctx)
	if err == nil {
		err = s.launch()
	}
	if err != nil {
		s.giveUp()
		return err
	}
	if err = s.waitReady(ctx); err == nil {
		err = s.makeRoles(ctx)
	}
	if err != nil {
		s.Stop(2 * time.Second)
	}
	return err
}

// prepare does all that comes before the process: binaries, account, folders.
func (s *Server) prepare(ctx context.Context) (err error) {
	if s.account, err = unprivileged(); err != nil {
		return err
	}
	if s.bin, err = findBin(s.opt.BinDir, s.madeBy()); err != nil {
		return err
	}
	if err = reachable(s.bin, s.account); err != nil {
		return fmt.Errorf("%w: put the binaries elsewhere", err)
	}
	if err = s.prepareDir(ctx); err != nil {
		return err
	}
	if err = s.prepareData(ctx); err != nil {
		return err
	}
	if err = endStrays(ctx, s.data); err != nil {
		return err
	}
	return s.makeSocketDir()
}

// giveUp undoes what a start had done that came to no process.
func (s *Server) giveUp() {
	if s.lock != nil { // else the folder is another's
		s.release()
	}
	s.removeThrowAway()
}

// release leaves the folder to the next one. The lock goes last.
func (s *Server) release() {
	if s.sockDir != "" {
		os.RemoveAll(s.sockDir)
	}
	s.lock.Close()
}

func (s *Server) removeThrowAway() {
	if s.throwAway {
		removeRun(s.opt.Dir)
	}
}

// Done is closed when the server has ended.
func (s *Server) Done() <-chan struct{} { return s.done }

// Err waits for the server's end and returns what it ended with.
func (s *Server) Err() error { <-s.done; return s.err }

// Stop asks for a fast shutdown, after grace for an immediate one, and at last
// kills. A throw-away folder is removed, and its server does not write its last
// data first. It returns an error if the server did not end in order: its data
// are then recovered at the next start.
func (s *Server) Stop(grace time.Duration) error {
	s.once.Do(func() {
		if !s.throwAway {
			s.cmd.Process.Signal(syscall.SIGINT)
		}
		if s.throwAway || !s.endedWithin(grace) {
			s.cmd.Process.Signal(syscall.SIGQUIT)
			if !s.endedWithin(10 * time.Second) { // it kills its backends itself after 5
				s.cmd.Process.Kill()
				<-s.done
			}
		}
		s.removeThrowAway()
	})
	if errors.As(s.err, new(*exec.ExitError)) {
		return fmt.Errorf("postgres: %w", s.err)
	}
	return nil
}

func (s *Server) endedWithin(d time.Duration) bool {
	select {
	case <-s.done:
		return true
	case <-time.After(d):
		return false
	}
}
