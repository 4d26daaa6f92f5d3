//go:build linux

package pgserver

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// TestInterrupt: Ctrl-C reaches the supervisor and not its server, which is then
// stopped in order.
func TestInterrupt(t *testing.T) {
	t.Parallel()
	c := startChild(t, folder(t))
	if group, err := syscall.Getpgid(c.server); err != nil || group == c.cmd.Process.Pid {
		t.Errorf("the server is in the supervisor's group: %v", err)
	}
	c.interrupt(t)
	if code := c.exit(); code != 0 {
		t.Errorf("exit %d: %s", code, &c.said)
	}
	if left := processesIn(c.dir); len(left) > 0 {
		t.Errorf("left running: %v", left)
	}
	var log logbook
	start(t, Options{Dir: c.dir, Log: &log})
	if !log.has(sawCleanStop) || log.has(sawCrash) {
		t.Errorf("not shut down cleanly:\n%s", log.said.String())
	}
}

// TestInterruptedStart: a start that is broken off leaves no process and no
// folder, however far it had come.
func TestInterruptedStart(t *testing.T) {
	t.Parallel()
	for _, stage := range []string{"data.new/PG_VERSION", "data.new/base/1/PG_VERSION", "data/postmaster.pid"} {
		t.Run(strings.ReplaceAll(stage, "/", " "), func(t *testing.T) {
			t.Parallel()
			temp := folder(t)
			c := spawn(t, throwAway, "TMPDIR="+temp)
			eventually(t, "the start comes to "+stage, func() bool {
				there, _ := filepath.Glob(filepath.Join(temp, throwAwayPrefix+"*", stage))
				return len(there) > 0
			})
			c.interrupt(t)
			switch code := c.exit(); {
			case code == 0:
				t.Log("the start was too quick to be broken off; its server was stopped")
			case code != 1 || !strings.Contains(c.said.String(), "broken off: interrupt signal received"):
				t.Errorf("exit %d: %s", code, &c.said)
			}
			if left := processesIn(temp); len(left) > 0 {
				t.Errorf("left running: %v", left)
			}
			if left, err := os.ReadDir(temp); err != nil || len(left) > 0 {
				t.Errorf("left: %v, %v", left, err)
			}
		})
	}
}

// TestKilledInitdb: the next start does not meet the initdb of one that was
// killed, and uses nothing of what it had made.
func TestKilledInitdb(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	c := spawn(t, dir)
	eventually(t, "initdb is at work", func() bool {
		_, err := os.Stat(filepath.Join(dir, "data.new", "PG_VERSION"))
		return err == nil
	})
	c.kill(t)
	s := start(t, Options{Dir: dir})
	if got := ask(t, connect(t, s.AppURL("lastgood")), "select current_user"); got != "lastgood_app" {
		t.Errorf("connected as %s", got)
	}
	if _, err := os.Stat(s.data + ".new"); !os.IsNotExist(err) {
		t.Errorf("the half-made folder is left: %v", err)
	}
}

// TestLongTempFolder: its socket is in a short one, and neither is left.
func TestLongTempFolder(t *testing.T) {
	t.Parallel()
	temp := filepath.Join(folder(t), strings.Repeat("long", 30))
	if err := os.Mkdir(temp, 0o755); err != nil {
		t.Fatal(err)
	}
	c := startChild(t, throwAway, "TMPDIR="+temp)
	if got := ask(t, connect(t, c.admin), "select current_user"); got != adminRole {
		t.Errorf("connected as %s", got)
	}
	c.interrupt(t)
	if code := c.exit(); code != 0 {
		t.Errorf("exit %d: %s", code, &c.said)
	}
	short := filepath.Join("/tmp", filepath.Base(socketDirOf(c.dir)))
	if _, err := os.Stat(short); !os.IsNotExist(err) {
		t.Errorf("the socket's folder is left: %v", err)
	}
	if left, err := os.ReadDir(temp); err != nil || len(left) > 0 {
		t.Errorf("left: %v, %v", left, err)
	}
}

// TestNoTempFolder: the message names it, and what happens to be called "data"
// where we stand is left alone.
func TestNoTempFolder(t *testing.T) {
	t.Parallel()
	here := folder(t)
	file := write(t, here, "data/letters.txt", "dear customer")
	missing := filepath.Join(here, "missing")
	c := spawnIn(t, here, throwAway, "TMPDIR="+missing)
	if code := c.exit(); code != 1 || !strings.Contains(c.said.String(), missing) {
		t.Errorf("exit %d: %s", code, &c.said)
	}
	if _, err := os.Stat(file); err != nil {
		t.Error(err)
	}
}

// TestClosedTempFolder: the message says which folder, and what to do.
func TestClosedTempFolder(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("only root runs the server under another account")
	}
	temp := folder(t)
	if err := os.Chmod(temp, 0o700); err != nil {
		t.Fatal(err)
	}
	c := spawn(t, throwAway, "TMPDIR="+temp)
	if code := c.exit(); code != 1 {
		t.Errorf("exit %d", code)
	}
	for _, words := range []string{"cannot enter the folder " + temp + " ", "TMPDIR"} {
		if !strings.Contains(c.said.String(), words) {
			t.Errorf("%q does not say %q", &c.said, words)
		}
	}
	if left, err := os.ReadDir(temp); err != nil || len(left) > 0 {
		t.Errorf("left: %v, %v", left, err)
	}
}
