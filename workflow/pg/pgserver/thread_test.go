//go:build linux

package pgserver

import (
	"fmt"
	"os"
	"runtime"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// TestStartersThreadEnds: the kernel's "parent died" means the thread that
// forked, and the server has to outlive its starter's.
func TestStartersThreadEnds(t *testing.T) {
	t.Parallel()
	var log logbook
	var s *Server
	var err error
	thread := onThread(func() { s, err = Start(t.Context(), Options{BinDir: binDir(), Log: &log}) })
	if err != nil {
		t.Fatal(err)
	}
	defer stop(t, s)
	task := fmt.Sprintf("/proc/self/task/%d", thread)
	eventually(t, "the thread ends", func() bool { _, err := os.Stat(task); return os.IsNotExist(err) })
	if err := connect(t, s.AppURL("lastgood")).Ping(); err != nil || log.has("shutdown request") {
		t.Errorf("the server is ending: %v\n%s", err, log.said.String())
	}
}

// onThread runs f on a thread that ends with it, so never on the process's first
// one, which Go keeps.
func onThread(f func()) (thread int) {
	done := make(chan int)
	go func() {
		runtime.LockOSThread() // for good: the thread ends with this function
		if syscall.Gettid() == os.Getpid() {
			done <- onThread(f)
			return
		}
		f()
		done <- syscall.Gettid()
	}()
	return <-done
}

// TestWithoutTracing: root in a container often may not look at another account's
// processes, and has to know its servers all the same.
func TestWithoutTracing(t *testing.T) {
	t.Parallel()
	s := start(t, Options{})
	runtime.LockOSThread() // for good: the thread ends with the test
	dropTracing(t)
	if _, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", s.cmd.Process.Pid)); (err != nil) != (os.Geteuid() == 0) {
		t.Fatalf("the right to trace is still there: %v", err)
	}
	if !runs(s.cmd.Process.Pid, s.data) {
		t.Error("does not know its own server")
	}
	if got := strays(s.data); len(got) < 2 {
		t.Errorf("sees %d processes, not the server and its helpers", len(got))
	}
}

func dropTracing(t *testing.T) {
	t.Helper()
	header := unix.CapUserHeader{Version: unix.LINUX_CAPABILITY_VERSION_3}
	var sets [2]unix.CapUserData
	if err := unix.Capget(&header, &sets[0]); err != nil {
		t.Fatal(err)
	}
	sets[0].Effective &^= 1 << unix.CAP_SYS_PTRACE
	if err := unix.Capset(&header, &sets[0]); err != nil {
		t.Fatal(err)
	}
}
