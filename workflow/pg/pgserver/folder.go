//go:build linux

package pgserver

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	throwAway  = "lastgood-run-" // prefix of throw-away folders
	lockName   = "supervisor.lock"
	socketMax  = 107 // bytes that the kernel gives a socket's path
	socketTail = "/.s.PGSQL.65535"
)

// prepareDir makes the server's folder and takes its lock, which the kernel
// drops when we die.
func (s *Server) prepareDir(account *syscall.Credential) (err error) {
	if s.opt.Dir == "" {
		sweep()
		if s.opt.Dir, err = os.MkdirTemp("", throwAway); err != nil {
			return err
		}
		s.remove = s.opt.Dir
	}
	if s.opt.Dir, err = filepath.Abs(s.opt.Dir); err != nil {
		return err
	}
	if err := os.MkdirAll(s.opt.Dir, 0o755); err != nil {
		return err
	}
	if s.remove != "" {
		if err := os.Chmod(s.opt.Dir, 0o755); err != nil { // the server's account has to enter
			return err
		}
	}
	if s.opt.Dir, err = filepath.EvalSymlinks(s.opt.Dir); err != nil { // compared with the server's working folder later
		return err
	}
	if err := reachable(s.opt.Dir, account); err != nil {
		return err
	}
	s.lock, err = lockDir(s.opt.Dir)
	return err
}

func lockDir(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, lockName), os.O_CREATE|os.O_RDWR|syscall.O_CLOEXEC, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, fmt.Errorf("the data folder %s is in use by another process", dir)
	}
	return f, nil
}

// sweep removes the throw-away folders of runs that were killed: their lock is
// free. A folder younger than a minute may be one that is just being made.
func sweep() {
	dirs, _ := filepath.Glob(filepath.Join(os.TempDir(), throwAway+"*"))
	for _, d := range dirs {
		fi, err := os.Lstat(d)
		if err != nil || !fi.IsDir() || time.Since(fi.ModTime()) < time.Minute ||
			fi.Sys().(*syscall.Stat_t).Uid != uint32(os.Geteuid()) {
			continue
		}
		if _, err := os.Stat(filepath.Join(d, lockName)); err != nil {
			continue
		}
		lock, err := lockDir(d)
		if err != nil {
			continue
		}
		if clearStale(filepath.Join(d, "data")) == nil { // a server that outlived its parent is stopped first
			os.RemoveAll(d)
		}
		lock.Close()
	}
}

// makeSocketDir makes the folder of the socket, empty: we hold the lock, so a
// lock file in it was left by a crash and may name a process that is another's
// by now.
func (s *Server) makeSocketDir(account *syscall.Credential) error {
	s.sockDir = filepath.Join(s.opt.Dir, "run")
	if len(s.sockDir)+len(socketTail) > socketMax {
		sum := sha256.Sum256([]byte(s.opt.Dir))
		s.sockDir = filepath.Join(os.TempDir(), "lastgood-socket-"+hex.EncodeToString(sum[:8]))
		if fi, err := os.Lstat(s.sockDir); err == nil && !owned(fi, account) { // never adopt another's in a shared folder
			return fmt.Errorf("%s belongs to another account", s.sockDir)
		}
	}
	if err := os.RemoveAll(s.sockDir); err != nil {
		return err
	}
	return makeOwned(s.sockDir, account)
}

// readPidFile returns the process and the status that a server's pid file names.
func readPidFile(data string) (pid int, status string) {
	b, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		return 0, ""
	}
	lines := strings.Split(string(b), "\n")
	pid, _ = strconv.Atoi(strings.TrimSpace(lines[0]))
	if len(lines) >= 8 { // the eighth line is the status
		status = strings.TrimSpace(lines[7])
	}
	return pid, status
}

// clearStale removes a pid file whose process is not a server of this folder (a
// server's working folder is its data folder): PostgreSQL would refuse to start
// if that number belongs to another process by now. A server that outlived its
// parent is stopped.
func clearStale(data string) error {
	file := filepath.Join(data, "postmaster.pid")
	pid, _ := readPidFile(data)
	if _, err := os.Stat(file); errors.Is(err, os.ErrNotExist) {
		return nil
	}
	alive := func() bool { // false for a zombie too: its folder cannot be read
		cwd, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", pid))
		return pid > 1 && err == nil && cwd == data
	}
	if alive() {
		syscall.Kill(pid, syscall.SIGINT)
		for range 500 {
			if !alive() {
				break
			}
			time.Sleep(20 * time.Millisecond)
		}
		if alive() {
			return fmt.Errorf("a server (process %d) still runs in %s", pid, data)
		}
	}
	if err := os.Remove(file); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}
