//go:build linux

// Package pgserver runs a private PostgreSQL as a child process: found on the
// machine, in a data folder of its own, on a unix socket that only we enter,
// with data checksums, and stopped with us however we end. As root it runs the
// server under an account without rights.
package pgserver

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"syscall"
	"time"
)

// Options say how to run a server.
type Options struct {
	Dir    string    // its folder; empty: a throw-away one, removed at Stop
	BinDir string    // folder of the binaries; empty: search
	Unsafe bool      // no fsync: for tests only
	Log    io.Writer // what the server says; nil: nowhere
}

// Server is a running PostgreSQL.
type Server struct {
	opt     Options
	sockDir string
	cmd     *exec.Cmd
	done    chan struct{}
	err     error
	lock    *os.File
	once    sync.Once
	remove  string // the throw-away folder
}

// The roles of a private server. The administrator is the cluster's superuser
// and is used by nobody but this package and tests.
const (
	adminRole = "lastgood_admin"
	ownerRole = "lastgood_owner"
	appRole   = "lastgood_app"
)

// port is part of the socket's name only: nothing listens on TCP.
const port = 5432

func (s *Server) dsn(role, db string) string {
	return fmt.Sprintf("host=%s port=%d user=%s dbname=%s sslmode=disable timezone=UTC application_name=lastgood",
		s.sockDir, port, role, db)
}

// OwnerURL returns the connection string of the role that owns the database db
// and migrates it. It is no superuser.
func (s *Server) OwnerURL(db string) string { return s.dsn(ownerRole, db) }

// AppURL returns the connection string of the role that serves: neither an owner
// of tables nor a superuser.
func (s *Server) AppURL(db string) string { return s.dsn(appRole, db) }

// AdminURL returns the connection string of the cluster's superuser.
func (s *Server) AdminURL(db string) string { return s.dsn(adminRole, db) }

// Done is closed when the server has ended.
func (s *Server) Done() <-chan struct{} { return s.done }

// Err waits for the server's end and returns what it ended with.
func (s *Server) Err() error { <-s.done; return s.err }

// Pid returns the process id of the server.
func (s *Server) Pid() int { return s.cmd.Process.Pid }

// Start starts a server, making its data folder if it is new, and returns when
// it takes connections and has its roles and its database "lastgood". It
// refuses a folder that another process uses or that another major version of
// PostgreSQL made.
func Start(ctx context.Context, o Options) (*Server, error) {
	bin, err := findBin(o.BinDir)
	if err != nil {
		return nil, err
	}
	account, err := unprivileged()
	if err != nil {
		return nil, err
	}
	s := &Server{opt: o, done: make(chan struct{})}
	if err := s.prepareDir(account); err != nil {
		return nil, err
	}
	started := false
	defer func() {
		if !started {
			s.lock.Close()
			s.removeThrowAway()
		}
	}()
	data := filepath.Join(s.opt.Dir, "data")
	if err := s.initdb(ctx, bin, data, account); err != nil {
		return nil, err
	}
	if err := clearStale(data); err != nil {
		return nil, err
	}
	if err := s.makeSocketDir(account); err != nil {
		return nil, err
	}
	if err := s.launch(bin, data, account); err != nil {
		return nil, err
	}
	started = true
	if err := s.waitReady(ctx, data); err != nil {
		s.Stop(2 * time.Second)
		return nil, err
	}
	if err := s.makeRoles(ctx); err != nil {
		s.Stop(2 * time.Second)
		return nil, err
	}
	return s, nil
}

// launch starts the process and watches it.
func (s *Server) launch(bin, data string, account *syscall.Credential) error {
	s.cmd = exec.Command(filepath.Join(bin, "postgres"), s.arguments(bin, data)...)
	s.cmd.Env, s.cmd.Dir = environment(), data
	s.cmd.Stdout, s.cmd.Stderr = s.opt.Log, s.opt.Log
	s.cmd.SysProcAttr = attributes(account)
	started := make(chan error, 1)
	go func() { // Pdeathsig is tied to the THREAD that forks: pin it until the child ends
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := s.cmd.Start()
		started <- err
		if err == nil {
			s.err = s.cmd.Wait()
			s.lock.Close()
			close(s.done)
		}
	}()
	return <-started
}

// attributes: its own group, so that Ctrl-C reaches only us and we stop in
// order; and a fast shutdown should we die.
func attributes(account *syscall.Credential) *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Credential: account, Setpgid: true, Pdeathsig: syscall.SIGINT}
}

// waitReady polls the status line of the server's own pid file.
func (s *Server) waitReady(ctx context.Context, data string) error {
	t := time.NewTicker(5 * time.Millisecond)
	defer t.Stop()
	for {
		select {
		case <-s.done:
			return fmt.Errorf("postgres ended before it was ready: %w", s.err)
		case <-ctx.Done():
			return ctx.Err()
		case <-t.C:
		}
		if pid, status := readPidFile(data); pid == s.cmd.Process.Pid && status == "ready" {
			return nil
		}
	}
}

// Stop asks for a fast shutdown, after grace for an immediate one, and at last
// kills. A throw-away folder is removed.
func (s *Server) Stop(grace time.Duration) error {
	s.once.Do(func() {
		s.cmd.Process.Signal(syscall.SIGINT)
		if !s.endedWithin(grace) {
			s.cmd.Process.Signal(syscall.SIGQUIT)
			if !s.endedWithin(5 * time.Second) {
				s.cmd.Process.Kill()
				<-s.done
			}
		}
		s.removeThrowAway()
	})
	var exit *exec.ExitError
	if errors.As(s.err, &exit) {
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

func (s *Server) removeThrowAway() {
	if s.remove != "" {
		os.RemoveAll(s.remove)
		os.RemoveAll(s.sockDir)
	}
}

// arguments are the server's settings. They are given at each start, so that an
// old folder gets new ones.
func (s *Server) arguments(bin, data string) []string {
	set := map[string]string{
		"listen_addresses": "", "unix_socket_directories": s.sockDir, "unix_socket_permissions": "0700",
		"logging_collector": "off", "log_destination": "stderr", "timezone": "UTC",
		"max_connections": "50", "shared_buffers": "256MB", "max_wal_size": "4GB", "checkpoint_timeout": "15min",
		"wal_compression": "on", "jit": "off", "random_page_cost": "1.1",
	}
	if s.remove != "" {
		set["shared_buffers"] = "128MB"
	}
	if s.opt.Unsafe {
		set["fsync"], set["synchronous_commit"], set["full_page_writes"] = "off", "off", "off"
	}
	args := []string{"-D", data, "-p", strconv.Itoa(port)}
	for k, v := range set {
		args = append(args, "-c", k+"="+v)
	}
	return args
}
