//go:build linux

package pgserver

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// childMode makes the test binary a supervisor that a test can kill; its value
// is the folder.
const (
	childMode = "LASTGOOD_TEST_SUPERVISE"
	throwAway = "throw-away" // no folder
)

// supervise runs a server until Ctrl-C, or until standard input ends, so that it
// cannot outlive a test run that was killed.
func supervise(dir string) {
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt)
	if dir == throwAway {
		dir = ""
	}
	s, err := Start(ctx, Options{Dir: dir, BinDir: binDir()})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println(s.cmd.Process.Pid)
	fmt.Println(s.opt.Dir)
	fmt.Println(s.AdminURL("lastgood"))
	go func() { io.Copy(io.Discard, os.Stdin); cancel() }()
	<-ctx.Done()
	if err := s.Stop(time.Minute); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(2)
	}
}

// child is a supervisor in a process of its own, and leads a group as one that a
// shell starts does.
type child struct {
	cmd       *exec.Cmd
	out       io.Reader
	said      bytes.Buffer // on standard error; whole after exit
	server    int
	dir, data string
	admin     string
}

// spawn starts a supervisor with more in its environment.
func spawn(t *testing.T, dir string, more ...string) *child {
	t.Helper()
	return spawnIn(t, "", dir, more...)
}

// spawnIn does so from another working folder.
func spawnIn(t *testing.T, from, dir string, more ...string) *child {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := &child{cmd: exec.Command(self)}
	c.cmd.Dir = from
	c.cmd.Env = append(append(os.Environ(), childMode+"="+dir), more...)
	c.cmd.Stderr = &c.said
	c.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	stdin, err := c.cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if c.out, err = c.cmd.StdoutPipe(); err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stdin.Close(); c.cmd.Wait() })
	return c
}

// startChild starts a supervisor and waits for its server.
func startChild(t *testing.T, dir string, more ...string) *child {
	t.Helper()
	c := spawn(t, dir, more...)
	var said []string
	for lines := bufio.NewScanner(c.out); len(said) < 3 && lines.Scan(); {
		said = append(said, lines.Text())
	}
	if len(said) < 3 {
		c.exit()
		t.Fatalf("the supervisor said %q %s", said, &c.said)
	}
	pid, err := strconv.Atoi(said[0])
	if err != nil {
		t.Fatal(err)
	}
	c.server, c.dir, c.data, c.admin = pid, said[1], filepath.Join(said[1], "data"), said[2]
	return c
}

// kill ends the supervisor as the kernel would.
func (c *child) kill(t *testing.T) {
	t.Helper()
	if err := c.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	c.exit()
}

// interrupt is Ctrl-C: the terminal signals the whole group.
func (c *child) interrupt(t *testing.T) {
	t.Helper()
	if err := syscall.Kill(-c.cmd.Process.Pid, syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
}

// exit waits for the supervisor's end.
func (c *child) exit() (code int) {
	c.cmd.Wait()
	return c.cmd.ProcessState.ExitCode()
}

// processesIn are those that stand in a folder or below it.
func processesIn(dir string) (pids []int) {
	entries, _ := os.ReadDir("/proc")
	for _, e := range entries {
		if pid, err := strconv.Atoi(e.Name()); err == nil && strings.HasPrefix(workingFolder(pid), dir+"/") {
			pids = append(pids, pid)
		}
	}
	return pids
}
