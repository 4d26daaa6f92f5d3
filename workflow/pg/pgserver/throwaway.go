//go:build linux

package pgserver

import (
	"context"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// throwAwayPrefix names throw-away folders; the lock file marks them as ours.
const throwAwayPrefix = "lastgood-run-"

// beingMade is how long a folder may stand without its lock being taken.
const beingMade = time.Minute

func makeThrowAway() (string, error) {
	dir, err := os.MkdirTemp("", throwAwayPrefix)
	if err != nil {
		return "", err
	}
	return dir, os.Chmod(dir, 0o755) // the server's account has to enter
}

// sweep removes the throw-away folders of runs that were killed: their lock is
// free.
func sweep(ctx context.Context) {
	dirs, _ := filepath.Glob(filepath.Join(os.TempDir(), throwAwayPrefix+"*"))
	for _, d := range dirs {
		fi, err := os.Lstat(d)
		if err != nil || !fi.IsDir() || time.Since(fi.ModTime()) < beingMade ||
			fi.Sys().(*syscall.Stat_t).Uid != uint32(os.Geteuid()) {
			continue
		}
		if _, err := os.Stat(filepath.Join(d, lockName)); err != nil {
			continue
		}
		if lock, err := lockDir(d); err == nil {
			sweepOne(ctx, d)
			lock.Close()
		}
	}
}

// sweepOne stops a server that outlived its parent first.
func sweepOne(ctx context.Context, dir string) {
	real, err := filepath.EvalSymlinks(dir)
	if err != nil || endStrays(ctx, filepath.Join(real, "data")) != nil {
		return
	}
	os.RemoveAll(socketDirOf(real))
	removeRun(real)
}

// removeRun removes the bulk first: without its lock file nobody would sweep the
// rest, should we be killed meanwhile.
func removeRun(dir string) {
	os.RemoveAll(filepath.Join(dir, "data.new"))
	os.RemoveAll(filepath.Join(dir, "data"))
	os.RemoveAll(dir)
}
