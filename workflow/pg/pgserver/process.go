//go:build linux

package pgserver

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// launch starts the process and watches it.
func (s *Server) launch() error {
	said := &tail{}
	s.cmd = exec.Command(filepath.Join(s.bin, "postgres"), s.arguments()...)
	s.cmd.Env, s.cmd.Dir = environment(), s.data
	s.cmd.Stderr = said
	if s.opt.Log != nil {
		s.cmd.Stderr = io.MultiWriter(said, s.opt.Log)
	}
	s.cmd.Stdout = s.cmd.Stderr
	s.cmd.SysProcAttr = attributes(s.account)
	s.cmd.WaitDelay = 2 * time.Second // a backend that outlives a killed server holds its output open
	started := make(chan error, 1)
	go func() { // as in runTied: whatever becomes of our caller's thread
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := s.cmd.Start()
		started <- err
		if err != nil {
			return
		}
		if s.err = s.cmd.Wait(); s.err != nil {
			s.err = fmt.Errorf("%w\n%s", s.err, said)
		}
		s.release()
		close(s.done)
	}()
	return <-started
}

// attributes: its own group, so that Ctrl-C reaches only us and we stop in
// order; and a fast shutdown should we die.
func attributes(account *syscall.Credential) *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Credential: account, Setpgid: true, Pdeathsig: syscall.SIGINT}
}

// runTied runs a program that ends by itself. Pdeathsig is tied to the thread that
// forks, and threads end.
func runTied(cmd *exec.Cmd) error {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	return cmd.Run()
}

// tail keeps the last that the server said, for the error when it ends.
type tail struct {
	mu   sync.Mutex // a backend may still be writing when we have waited long enough
	last []byte
}

const tailSize = 2000

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.last = append(t.last, p...)
	if n := len(t.last) - tailSize; n > 0 {
		t.last = slices.Delete(t.last, 0, n)
	}
	return len(p), nil
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	return string(t.last)
}

// waitReady polls the status line of the server's own pid file: no password
// round trips, no half-open socket.
func (s *Server) waitReady(ctx context.Context) error {
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
		if pid, status := readPidFile(s.data); pid == s.cmd.Process.Pid && status == "ready" {
			return nil
		}
	}
}

// environment is ours without anything that PostgreSQL would listen to.
func environment() []string {
	e := slices.DeleteFunc(os.Environ(), func(v string) bool {
		return strings.HasPrefix(v, "PG") || strings.HasPrefix(v, "HOME=")
	})
	return append(e, "LC_ALL=C.UTF-8", "TZ=UTC")
}
