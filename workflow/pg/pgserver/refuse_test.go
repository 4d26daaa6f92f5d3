//go:build linux

package pgserver

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// refused checks that a start is refused, and with which words.
func refused(t *testing.T, o Options, words ...string) {
	t.Helper()
	s, err := Start(t.Context(), o)
	if err == nil {
		s.Stop(0)
		t.Fatal("started")
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%q does not say %q", err, w)
		}
	}
}

func TestSecondSupervisor(t *testing.T) {
	t.Parallel()
	s := start(t, Options{Dir: folder(t)})
	refused(t, Options{Dir: s.opt.Dir, BinDir: binDir()}, s.opt.Dir, "in use by another process")
	if err := connect(t, s.AppURL("lastgood")).Ping(); err != nil {
		t.Errorf("the first one suffers: %v", err)
	}
}

func TestOtherMajor(t *testing.T) {
	t.Parallel()
	bin, err := findBin(binDir(), "")
	if err != nil {
		t.Fatal(err)
	}
	version, err := versionOf(bin)
	if err != nil {
		t.Fatal(err)
	}
	dir := folder(t)
	file := write(t, dir, "data/PG_VERSION", "9.6\n")
	refused(t, Options{Dir: dir, BinDir: binDir()}, "made by PostgreSQL 9.6", bin, version, "LASTGOOD_PG_BIN")
	if b, err := os.ReadFile(file); err != nil || string(b) != "9.6\n" {
		t.Errorf("the folder was touched: %q, %v", b, err)
	}
}

func TestNotADatabase(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	file := write(t, dir, "data/letters.txt", "dear customer")
	refused(t, Options{Dir: dir, BinDir: binDir()}, "no PostgreSQL database", filepath.Join(dir, "data"))
	if _, err := os.Stat(file); err != nil {
		t.Error(err)
	}
}

// TestNoBinaries: the message is all that the reader needs to go on. A wrapper
// script would stand between us and the server.
func TestNoBinaries(t *testing.T) {
	t.Parallel()
	empty, wrapped := folder(t), folder(t)
	for _, name := range []string{"initdb", "postgres"} {
		if err := os.Chmod(write(t, wrapped, name, "#!/bin/sh\nexec true\n"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for _, bin := range []string{empty, wrapped} {
		refused(t, Options{BinDir: bin}, "no PostgreSQL server binaries", bin, installCommand(), "LASTGOOD_PG_BIN")
	}
}

// TestClosedParent: the message says which folder keeps the server's account out.
func TestClosedParent(t *testing.T) {
	t.Parallel()
	closed := filepath.Join(folder(t), "closed")
	inner := filepath.Join(closed, "inner")
	if err := os.MkdirAll(inner, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	other := &syscall.Credential{Uid: uint32(os.Geteuid()) + 1, Gid: uint32(os.Getegid()) + 1}
	if err := reachable(inner, other); err == nil || !strings.Contains(err.Error(), closed+" ") {
		t.Errorf("got %v", err)
	}
	if os.Geteuid() == 0 {
		refused(t, Options{Dir: inner, BinDir: binDir()}, "cannot enter the folder "+closed+" ", "choose a data folder outside it")
	}
}

func TestCancelled(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	dir := folder(t)
	if _, err := Start(ctx, Options{Dir: dir, BinDir: binDir()}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	lock, err := lockDir(dir)
	if err != nil {
		t.Fatalf("the folder is not given back: %v", err)
	}
	lock.Close()
}

// TestReusedNumber: lock files of a crash name a number that belongs to another
// process of the same account by now, and PostgreSQL alone would refuse.
func TestReusedNumber(t *testing.T) {
	t.Parallel()
	s := start(t, Options{Dir: folder(t)})
	pidFile := filepath.Join(s.data, "postmaster.pid")
	was, err := os.ReadFile(pidFile)
	if err != nil {
		t.Fatal(err)
	}
	stop(t, s)

	stranger := exec.Command("sleep", "600")
	stranger.SysProcAttr = &syscall.SysProcAttr{Credential: s.account}
	stranger.Dir = s.data // a person's shell may stand there
	if err := stranger.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { stranger.Process.Kill(); stranger.Wait() }()
	_, rest, _ := strings.Cut(string(was), "\n")
	now := strconv.Itoa(stranger.Process.Pid) + "\n" + rest
	for _, name := range []string{"data/postmaster.pid", "run/.s.PGSQL.5432.lock"} {
		file := write(t, s.opt.Dir, name, now)
		for _, f := range []string{file, filepath.Dir(file)} {
			if s.account == nil {
				continue
			}
			if err := os.Chown(f, int(s.account.Uid), int(s.account.Gid)); err != nil {
				t.Fatal(err)
			}
		}
	}

	again := start(t, Options{Dir: s.opt.Dir})
	if err := connect(t, again.AppURL("lastgood")).Ping(); err != nil {
		t.Error(err)
	}
	stranger.Process.Kill()
	stranger.Wait()
	if by := stranger.ProcessState.Sys().(syscall.WaitStatus).Signal(); by != syscall.SIGKILL {
		t.Errorf("the stranger was ended before we did it: %v", by)
	}
}

func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	file := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}
