//go:build linux

package pgserver

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// madeBy returns the major version that made the data folder; empty: none, or
// not ours to read.
func (s *Server) madeBy() string {
	if s.opt.Dir == "" {
		return ""
	}
	b, _ := os.ReadFile(filepath.Join(s.opt.Dir, "data", "PG_VERSION"))
	return strings.TrimSpace(string(b))
}

// prepareData makes the data folder, or sees that these binaries may open it.
func (s *Server) prepareData(ctx context.Context) error {
	has := s.madeBy()
	if has == "" {
		if err := os.Remove(s.data); err != nil && !errors.Is(err, os.ErrNotExist) { // an empty one may go
			return fmt.Errorf("the data folder holds something that is no PostgreSQL database, or is not ours to read: %w", err)
		}
		return s.initdb(ctx)
	}
	version, err := versionOf(s.bin)
	if err != nil {
		return err
	}
	if version != has && !strings.HasPrefix(version, has+".") {
		return fmt.Errorf("the data folder %s was made by PostgreSQL %s and the binaries in %s are %s: "+
			"give the binaries of version %s in LASTGOOD_PG_BIN, or choose another data folder", s.data, has, s.bin, version, has)
	}
	return nil
}

// initdb makes the data folder aside and renames it when it is done, so that a
// half-made one is never used.
func (s *Server) initdb(ctx context.Context) error {
	aside := s.data + ".new"
	if err := endMakers(ctx, aside); err != nil {
		return err
	}
	if err := os.RemoveAll(aside); err != nil {
		return err
	}
	if err := makeOwned(aside, s.account); err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, filepath.Join(s.bin, "initdb"), "-D", aside, "-U", adminRole, "-A", "trust",
		"-E", "UTF8", "--locale=C.UTF-8", "--data-checksums", "--no-sync")
	cmd.Env, cmd.Dir, cmd.SysProcAttr = environment(), aside, attributes(s.account)
	cmd.SysProcAttr.Pdeathsig = syscall.SIGTERM
	var said bytes.Buffer // open until the postgres that initdb drives has ended too
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := runTied(cmd); err != nil {
		return fmt.Errorf("initdb: %w\n%s", err, said.Bytes())
	}
	return s.settle(aside)
}

// settle puts the new folder on disk in one go, in place of initdb's file by
// file; its name last, and that too: what is committed later must not be found
// under the half-made name after a power cut.
func (s *Server) settle(aside string) error {
	if s.throwAway {
		return os.Rename(aside, s.data)
	}
	if err := onFolder(aside, unix.Syncfs); err != nil {
		return err
	}
	if err := os.Rename(aside, s.data); err != nil {
		return err
	}
	return onFolder(s.opt.Dir, unix.Fsync)
}

func onFolder(dir string, sync func(fd int) error) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := sync(int(d.Fd())); err != nil {
		return fmt.Errorf("sync %s: %w", dir, err)
	}
	return nil
}
