//go:build linux

package pgserver

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// patience is how long a server that outlived its parent may take to write its
// last checkpoint.
const patience = time.Minute

// readPidFile returns the process and the status that a server's pid file names.
func readPidFile(data string) (pid int, status string) {
	b, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		return 0, ""
	}
	lines := strings.Split(string(b), "\n")
	pid, _ = strconv.Atoi(strings.TrimSpace(lines[0]))
	if len(lines) >= 8 { // the eighth line is the status, since PostgreSQL 10
		status = strings.TrimSpace(lines[7])
	}
	return pid, status
}

// endStrays ends what still runs in a data folder whose lock we hold: a server
// that outlived its parent, or the backends of a server that was killed, which
// must be gone before another one opens the same files. Then it removes a pid
// file whose number belongs to a stranger by now: PostgreSQL would refuse to
// start. The pid file of a dead process is left to PostgreSQL, which looks
// behind it.
func endStrays(ctx context.Context, data string) error {
	pid, _ := readPidFile(data)
	for _, p := range strays(data) {
		if p == pid {
			syscall.Kill(p, syscall.SIGINT) // a fast shutdown: it ends its backends itself
		} else if !runs(pid, data) {
			syscall.Kill(p, syscall.SIGTERM)
		}
	}
	if err := waitGone(ctx, data); err != nil {
		return err
	}
	if pid, _ := readPidFile(data); pid > 0 && errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
		return nil
	}
	if err := os.Remove(filepath.Join(data, "postmaster.pid")); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// endMakers ends an initdb that outlived its parent: it would write into the
// folder of the next one, and clear that away when it gives up.
func endMakers(ctx context.Context, aside string) error {
	for _, p := range strays(aside) {
		syscall.Kill(p, syscall.SIGKILL)
	}
	return waitGone(ctx, aside)
}

func waitGone(ctx context.Context, dir string) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for left := strays(dir); len(left) > 0; left = strays(dir) {
		select {
		case <-ctx.Done():
			return fmt.Errorf("a server (process %d) still runs in %s", left[0], dir)
		case <-time.After(20 * time.Millisecond):
		}
	}
	return nil
}

// strays are the processes that run in a data folder.
func strays(data string) (pids []int) {
	entries, _ := os.ReadDir("/proc")
	for _, e := range entries {
		if pid, err := strconv.Atoi(e.Name()); err == nil && runs(pid, data) {
			pids = append(pids, pid)
		}
	}
	return pids
}

// runs: a server's working folder is its data folder, and so is its backends'.
// Never true of a zombie: it has none.
func runs(pid int, data string) bool { return workingFolder(pid) == data && isServer(pid) }

func workingFolder(pid int) string {
	proc := fmt.Sprintf("/proc/%d", pid)
	cwd, err := os.Readlink(proc + "/cwd")
	if errors.Is(err, os.ErrPermission) && os.Geteuid() == 0 {
		cwd = readlinkAsItsOwner(proc, "cwd")
	}
	return cwd
}

// readlinkAsItsOwner is for root without the right to trace, as in most
// containers: the kernel shows a process's working folder to its own account
// only. The account is set for one thread, which is not used again.
func readlinkAsItsOwner(proc, name string) string {
	fi, err := os.Stat(proc)
	if err != nil {
		return ""
	}
	owner := fi.Sys().(*syscall.Stat_t)
	link := make(chan string)
	go func() {
		runtime.LockOSThread() // for good: the thread ends with this function
		unix.Setfsgid(int(owner.Gid))
		unix.Setfsuid(int(owner.Uid))
		l, _ := os.Readlink(filepath.Join(proc, name))
		link <- l
	}()
	return <-link
}

// isServer keeps us from ending a person's shell that stands in the data folder.
func isServer(pid int) bool {
	b, _ := os.ReadFile(fmt.Sprintf("/proc/%d/comm", pid))
	name := strings.TrimSpace(string(b))
	return name == "postgres" || name == "initdb"
}
