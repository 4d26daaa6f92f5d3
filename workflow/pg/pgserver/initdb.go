//go:build linux

package pgserver

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"

	_ "github.com/lib/pq" // to make the roles
	"golang.org/x/sys/unix"
)

// initdb makes the data folder, aside and renamed when done, so that a half-made
// one is never used.
func (s *Server) initdb(ctx context.Context, bin, data string, account *syscall.Credential) error {
	if b, err := os.ReadFile(filepath.Join(data, "PG_VERSION")); err == nil {
		return sameMajor(ctx, bin, data, strings.TrimSpace(string(b)))
	}
	aside := data + ".new"
	if err := os.RemoveAll(aside); err != nil {
		return err
	}
	if err := makeOwned(aside, account); err != nil {
		return err
	}
	args := []string{"-D", aside, "-U", adminRole, "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--data-checksums", "-N"}
	cmd := exec.CommandContext(ctx, filepath.Join(bin, "initdb"), args...)
	cmd.Env, cmd.Dir, cmd.SysProcAttr = environment(), aside, attributes(account)
	cmd.SysProcAttr.Pdeathsig = syscall.SIGTERM
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	runtime.LockOSThread() // for Pdeathsig
	err := cmd.Run()
	runtime.UnlockOSThread()
	if err != nil {
		return fmt.Errorf("initdb: %w\n%s", err, said.Bytes())
	}
	if err := s.sync(aside); err != nil {
		return err
	}
	return os.Rename(aside, data)
}

// sync puts the new folder on disk in one go, in place of initdb's file by file.
func (s *Server) sync(dir string) error {
	if s.opt.Unsafe {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return unix.Syncfs(int(d.Fd()))
}

func sameMajor(ctx context.Context, bin, data, has string) error {
	out, err := exec.CommandContext(ctx, filepath.Join(bin, "postgres"), "--version").Output()
	if err != nil {
		return fmt.Errorf("%s/postgres --version: %w", bin, err)
	}
	words := strings.Fields(string(out)) // postgres (PostgreSQL) 15.18 (Debian …)
	if len(words) < 3 {
		return fmt.Errorf("%s/postgres --version says %q", bin, out)
	}
	if words[2] != has && !strings.HasPrefix(words[2], has+".") {
		return fmt.Errorf("the data folder %s was made by PostgreSQL %s and the binaries in %s are %s: "+
			"give the binaries of version %s in LASTGOOD_PG_BIN, or another data folder", data, has, bin, words[2], has)
	}
	return nil
}

// roles are made at each start, so that a start that was cut short mends itself.
const roles = `
do $$ begin
  if not exists (select from pg_roles where rolname = 'lastgood_owner') then create role lastgood_owner login; end if;
  if not exists (select from pg_roles where rolname = 'lastgood_application') then create role lastgood_application nologin; end if;
  if not exists (select from pg_roles where rolname = 'lastgood_app') then create role lastgood_app login in role lastgood_application; end if;
end $$`

func (s *Server) makeRoles(ctx context.Context) error {
	db, err := sql.Open("postgres", s.AdminURL("postgres"))
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, roles); err != nil {
		return fmt.Errorf("roles: %w", err)
	}
	var there bool
	const has = `select exists (select from pg_database where datname = 'lastgood')`
	if err := db.QueryRowContext(ctx, has).Scan(&there); err != nil {
		return fmt.Errorf("database: %w", err)
	}
	if !there {
		if _, err := db.ExecContext(ctx, `create database lastgood owner lastgood_owner`); err != nil {
			return fmt.Errorf("database: %w", err)
		}
	}
	const close = `revoke connect on database lastgood from public;
		grant connect on database lastgood to lastgood_application`
	if _, err := db.ExecContext(ctx, close); err != nil {
		return fmt.Errorf("database: %w", err)
	}
	return nil
}
