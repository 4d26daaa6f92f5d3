//go:build linux

package pgserver

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/lib/pq"
	"github.com/lib/pq/pqerror"
)

// TestRoles: the owner migrates and the application serves; neither is a
// superuser, and the application makes nothing that lasts.
func TestRoles(t *testing.T) {
	t.Parallel()
	s := start(t, Options{})
	admin, owner, app := connect(t, s.AdminURL("lastgood")), connect(t, s.OwnerURL("lastgood")), connect(t, s.AppURL("lastgood"))
	run(t, admin, "create role stranger login")
	for question, want := range map[string]string{
		"select string_agg(rolname, ' ' order by rolname) from pg_roles where rolcanlogin and rolname like 'lastgood%'": "lastgood_admin lastgood_app lastgood_owner",
		"select string_agg(rolname, ' ') from pg_roles where rolsuper or rolcreaterole or rolcreatedb or rolbypassrls":  "lastgood_admin",
		"select pg_has_role('lastgood_app', 'lastgood_application', 'member')::text":                                    "true",
		"select pg_has_role('lastgood_app', 'lastgood_owner', 'member')::text":                                          "false",
		"select pg_get_userbyid(datdba) from pg_database where datname = 'lastgood'":                                    "lastgood_owner",
		"select has_database_privilege('stranger', 'lastgood', 'connect')::text":                                        "false",
		"show data_checksums": "on",
		"show shared_buffers": "128MB",
		"select current_setting('listen_addresses') || current_setting('unix_socket_permissions') || current_setting('jit')": "0700off",
		"select current_setting('timezone') || ' ' || current_setting('application_name')":                                   "UTC lastgood",
		"select pg_encoding_to_char(encoding) || ' ' || datcollate from pg_database where datname = 'lastgood'":              "UTF8 C.UTF-8",
		"select current_setting('fsync') || current_setting('synchronous_commit') || current_setting('full_page_writes')":    "offonoff",
	} {
		if got := ask(t, admin, question); got != want {
			t.Errorf("%s: %q, want %q", question, got, want)
		}
	}
	run(t, owner, "create table kept (n int)")
	run(t, app, "create temporary table staged (n int)")
	if _, err := app.Exec("create table lasting (n int)"); pq.As(err, pqerror.InsufficientPrivilege) == nil {
		t.Errorf("the application makes a table: %v", err)
	}
	if _, err := app.Exec("drop table kept"); pq.As(err, pqerror.InsufficientPrivilege) == nil {
		t.Errorf("the application drops a table: %v", err)
	}
	if err := connect(t, s.dsn("stranger", "lastgood")).Ping(); pq.As(err, pqerror.InsufficientPrivilege) == nil {
		t.Errorf("a stranger enters: %v", err)
	}
	stop(t, s)
	if _, err := os.Stat(s.opt.Dir); !os.IsNotExist(err) {
		t.Errorf("the throw-away folder is left: %v", err)
	}
}

// TestRestart: a stop is clean, what was written is there, and the next start
// mends what one that was cut short left half done.
func TestRestart(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(folder(t), "new")
	halfMade := filepath.Join(dir, "data.new")
	if err := os.MkdirAll(halfMade, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(halfMade, "PG_VERSION"), []byte("15\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := start(t, Options{Dir: dir})
	run(t, connect(t, s.OwnerURL("lastgood")), "create table kept as select 42 as n")
	admin := connect(t, s.AdminURL("postgres"))
	const safe = "select concat_ws(' ', current_setting('fsync'), current_setting('synchronous_commit'), current_setting('full_page_writes'), current_setting('data_checksums'), current_setting('wal_compression') <> 'off', current_setting('shared_buffers'))"
	if got := ask(t, admin, safe); got != "on on on on t 256MB" {
		t.Errorf("a kept server runs with %s", got)
	}
	run(t, admin, "revoke lastgood_application from lastgood_app")
	run(t, admin, "grant connect on database lastgood to public")
	stop(t, s)
	if err := s.Err(); err != nil {
		t.Errorf("ended with %v", err)
	}
	if state := controlData(t, s); !strings.Contains(state, "shut down\n") {
		t.Errorf("not shut down:\n%s", state)
	}

	var log logbook
	s = start(t, Options{Dir: dir, Log: &log})
	if !log.has(sawCleanStop) || log.has(sawCrash) {
		t.Errorf("not shut down cleanly:\n%s", log.said.String())
	}
	if got := ask(t, connect(t, s.OwnerURL("lastgood")), "select n from kept"); got != "42" {
		t.Errorf("kept %s", got)
	}
	const mended = "select concat(pg_has_role('lastgood_app', 'lastgood_application', 'member'), datacl::text ~ '[{,]=') from pg_database where datname = 'lastgood'"
	if got := ask(t, connect(t, s.AdminURL("postgres")), mended); got != "tf" {
		t.Errorf("membership and public's rights: %s", got)
	}
}

// controlData asks the program beside the server's for what the data folder says.
func controlData(t *testing.T, s *Server) string {
	t.Helper()
	cmd := exec.Command(filepath.Join(s.bin, "pg_controldata"), "-D", s.data)
	cmd.Env = environment()
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("pg_controldata (with the server in most packages): %v\n%s", err, out)
	}
	return string(out)
}

// TestSeveral: throw-away servers that start at the same moment do not meet, and
// may be stopped from several places.
func TestSeveral(t *testing.T) {
	t.Parallel()
	var servers [3]*Server
	var errs [len(servers)]error
	var group sync.WaitGroup
	for i := range servers {
		group.Go(func() { servers[i], errs[i] = Start(t.Context(), Options{BinDir: binDir()}) })
	}
	group.Wait()
	for i, s := range servers {
		if errs[i] != nil {
			t.Error(errs[i])
			continue
		}
		defer s.Stop(time.Minute)
		run(t, connect(t, s.OwnerURL("lastgood")), "create table mine (n int)")
	}
	if t.Failed() {
		return
	}
	for range 4 {
		group.Go(func() {
			if err := servers[0].Stop(time.Minute); err != nil {
				t.Error(err)
			}
		})
	}
	group.Wait()
	if err := servers[0].Stop(0); err != nil {
		t.Errorf("stopped again: %v", err)
	}
	if _, err := os.Stat(servers[0].opt.Dir); !os.IsNotExist(err) {
		t.Errorf("the throw-away folder is left: %v", err)
	}
	for _, s := range servers[1:] {
		if err := connect(t, s.AppURL("lastgood")).Ping(); err != nil {
			t.Errorf("another one ended too: %v", err)
		}
	}
}

// TestAwkwardPath: too long for a socket, and in need of quotes.
func TestAwkwardPath(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(folder(t), "plant 'north', line 2", strings.Repeat("long", 30))
	s := start(t, Options{Dir: dir})
	if got := ask(t, connect(t, s.AppURL("lastgood")), "select current_user"); got != "lastgood_app" {
		t.Errorf("connected as %s", got)
	}
	stop(t, s)
	if _, err := os.Stat(s.sockDir); !os.IsNotExist(err) {
		t.Errorf("the socket's folder is left: %v", err)
	}
}
