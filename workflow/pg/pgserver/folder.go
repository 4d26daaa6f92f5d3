//go:build linux

package pgserver

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"syscall"
)

const lockName = "supervisor.lock"

var errInUse = errors.New("in use by another process")

// prepareDir makes the server's folder and takes its lock, which the kernel
// drops when we die.
func (s *Server) prepareDir(ctx context.Context) (err error) {
	if s.opt.Dir == "" {
		sweep(ctx)
		if s.opt.Dir, err = makeThrowAway(); err != nil {
			return err
		}
		s.throwAway = true // from here on it is ours to remove
	}
	if err := os.MkdirAll(s.opt.Dir, 0o755); err != nil {
		return err
	}
	dir, err := realPath(s.opt.Dir)
	if err != nil {
		return err
	}
	s.opt.Dir = dir
	if s.lock, err = lockDir(s.opt.Dir); err != nil {
		return err
	}
	if err := reachable(s.opt.Dir, s.account); err != nil {
		if s.throwAway {
			return fmt.Errorf("%w: name another temporary folder in TMPDIR", err)
		}
		return fmt.Errorf("%w: choose a data folder outside it, or open it with chmod o+x", err)
	}
	s.data = filepath.Join(s.opt.Dir, "data")
	return nil
}

// realPath is what the kernel says of a process that works in the folder.
func realPath(dir string) (string, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	return filepath.EvalSymlinks(dir)
}

func lockDir(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, lockName), os.O_CREATE|os.O_RDWR|syscall.O_CLOEXEC, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, fmt.Errorf("the data folder %s is %w", dir, errInUse)
	}
	return f, nil
}

// socketMax is what the kernel gives a socket's path, in bytes.
const (
	socketMax  = 107
	socketTail = "/.s.PGSQL.65535"
)

// plain paths need no quotes, neither in the server's settings nor in a
// connection string.
var plain = regexp.MustCompile(`^[A-Za-z0-9/._-]+$`)

// socketDirOf returns the folder of the socket of a server's folder: in it, or,
// if the kernel could not take that path, under a short name in the temp folder.
func socketDirOf(dir string) string {
	fits := func(d string) bool { return len(d)+len(socketTail) <= socketMax && plain.MatchString(d) }
	if d := filepath.Join(dir, "run"); fits(d) {
		return d
	}
	sum := sha256.Sum256([]byte(dir))
	name := "lastgood-socket-" + hex.EncodeToString(sum[:8])
	if d := filepath.Join(os.TempDir(), name); fits(d) {
		return d
	}
	return filepath.Join("/tmp", name)
}

// makeSocketDir makes the folder of the socket, empty: we hold the lock, so a
// lock file in it was left by a crash and may name a process that is another's
// by now.
func (s *Server) makeSocketDir() error {
	dir := socketDirOf(s.opt.Dir)
	if fi, err := os.Lstat(dir); err == nil && !owned(fi, s.account) { // never adopt another's in a shared folder
		return fmt.Errorf("the socket's folder %s belongs to another account: remove it", dir)
	}
	s.sockDir = dir
	if err := os.RemoveAll(s.sockDir); err != nil {
		return err
	}
	return makeOwned(s.sockDir, s.account)
}
