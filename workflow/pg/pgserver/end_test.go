//go:build linux

package pgserver

import (
	"os"
	"strconv"
	"syscall"
	"testing"
	"time"
)

// TestSupervisorKilled: the server shuts down in order by itself, and the next
// start finds the data.
func TestSupervisorKilled(t *testing.T) {
	t.Parallel()
	c := startChild(t, folder(t))
	run(t, connect(t, c.admin), "create table kept as select 42 as n")
	c.kill(t)
	eventually(t, "the server ends after its supervisor", func() bool { return !runs(c.server, c.data) })
	var log logbook
	s := start(t, Options{Dir: c.dir, Log: &log})
	if !log.has(sawCleanStop) || log.has(sawCrash) {
		t.Errorf("not shut down cleanly:\n%s", log.said.String())
	}
	if got := ask(t, connect(t, s.AdminURL("lastgood")), "select n from kept"); got != "42" {
		t.Errorf("kept %s", got)
	}
}

// TestServerKilled: what was committed is recovered; and a backend that did not
// notice is ended before another server opens the same files.
func TestServerKilled(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	s := start(t, Options{Dir: dir})
	db := connect(t, s.AdminURL("lastgood"))
	run(t, db, "create table kept as select 42 as n")
	busy := connect(t, s.dsn(adminRole, "lastgood"))
	t.Cleanup(func() {
		for _, p := range strays(s.data) {
			syscall.Kill(p, syscall.SIGKILL)
		}
	})
	// looks at nothing but its signals, and ends should all else fail
	go busy.Exec("set application_name = busy; do $$ begin while clock_timestamp() < now() + interval '5 minutes' loop perform 1; end loop; end $$")
	const isBusy = "select exists (select from pg_stat_activity where application_name = 'busy' and state = 'active' and query like '%loop%')::text"
	eventually(t, "a busy backend", func() bool { return ask(t, db, isBusy) == "true" })
	if err := syscall.Kill(s.cmd.Process.Pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	<-s.Done()
	if s.Err() == nil || s.Stop(time.Minute) == nil {
		t.Error("a killed server ended well")
	}
	if len(strays(s.data)) == 0 {
		t.Error("no backend outlived the server: nothing is tested")
	}

	var log logbook
	s = start(t, Options{Dir: dir, Log: &log})
	if !log.has(sawCrash) {
		t.Errorf("no recovery:\n%s", log.said.String())
	}
	if got := ask(t, connect(t, s.AdminURL("lastgood")), "select n from kept"); got != "42" {
		t.Errorf("kept %s", got)
	}
}

// TestBackendKilled: a throw-away server too keeps what was committed, and a
// client that tries again never goes on without it.
func TestBackendKilled(t *testing.T) {
	t.Parallel()
	var log logbook
	s := start(t, Options{Log: &log})
	victim, err := strconv.Atoi(ask(t, connect(t, s.AdminURL("lastgood")), "select pg_backend_pid()::text"))
	if err != nil {
		t.Fatal(err)
	}
	db := connect(t, s.AdminURL("lastgood"))
	run(t, db, "create table kept (n int)")
	run(t, db, "insert into kept values (42)")
	if err := syscall.Kill(victim, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the server starts anew", func() bool { return log.has(sawBackendCrash) && db.Ping() == nil })
	if got := ask(t, db, "select n from kept"); got != "42" {
		t.Errorf("kept %s", got)
	}
	stop(t, s)
}

// TestKilledThrowAway: the folder of a killed run goes at a later start, and the
// folders of others do not.
func TestKilledThrowAway(t *testing.T) {
	t.Parallel()
	c := startChild(t, throwAway)
	c.kill(t)
	makeOld := func(dir string) {
		old := time.Now().Add(-time.Hour)
		if err := os.Chtimes(dir, old, old); err != nil {
			t.Fatal(err)
		}
	}
	makeOld(c.dir)
	running, young, foreign := leftover(t, true), leftover(t, true), leftover(t, false)
	makeOld(running)
	makeOld(foreign)
	lock, err := lockDir(running)
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	sweep(t.Context())
	eventually(t, "the folder goes", func() bool { // another run may be sweeping at the same time
		_, err := os.Stat(c.dir)
		return os.IsNotExist(err)
	})
	for _, d := range []string{running, young, foreign} {
		if _, err := os.Stat(d); err != nil {
			t.Errorf("swept what was another's: %v", err)
		}
	}
}

func leftover(t *testing.T, ours bool) string {
	t.Helper()
	d, err := makeThrowAway()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(d) })
	if ours {
		lock, err := lockDir(d)
		if err != nil {
			t.Fatal(err)
		}
		lock.Close()
	}
	return d
}
