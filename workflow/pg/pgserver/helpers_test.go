//go:build linux

package pgserver

import (
	"bufio"
	"context"
	"database/sql"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// childMode makes the test binary a supervisor that a test can kill; its value
// is the folder ("throw-away": none).
const childMode = "LASTGOOD_TEST_SUPERVISE"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childMode); dir != "" {
		supervise(dir)
		return
	}
	os.Exit(m.Run())
}

// supervise runs a server until standard input ends, so that it cannot outlive a
// test run that was killed.
func supervise(dir string) {
	if dir == "throw-away" {
		dir = ""
	}
	s, err := Start(context.Background(), Options{Dir: dir, BinDir: binDir(), Unsafe: true})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println(s.cmd.Process.Pid)
	fmt.Println(s.opt.Dir)
	fmt.Println(s.AdminURL("lastgood"))
	io.Copy(io.Discard, os.Stdin)
	s.Stop(time.Minute)
}

// child is a supervisor in a process of its own.
type child struct {
	cmd       *exec.Cmd
	server    int
	dir, data string
	admin     string
}

func startChild(t *testing.T, dir string) child {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childMode+"="+dir)
	cmd.Stderr = os.Stderr
	stdin, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stdin.Close(); cmd.Wait() })
	var said []string
	for lines := bufio.NewScanner(out); len(said) < 3 && lines.Scan(); {
		said = append(said, lines.Text())
	}
	if len(said) < 3 {
		t.Fatalf("the supervisor said %q", said)
	}
	pid, err := strconv.Atoi(said[0])
	if err != nil {
		t.Fatal(err)
	}
	return child{cmd, pid, said[1], filepath.Join(said[1], "data"), said[2]}
}

// kill ends the supervisor as the kernel would, and waits for its server to
// follow by itself.
func (c child) kill(t *testing.T) {
	t.Helper()
	if err := c.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the server ends after its supervisor", func() bool { return !runs(c.server, c.data) })
}

func binDir() string { return os.Getenv("LASTGOOD_PG_BIN") }

// folder is one that the server's account can enter, which those of
// testing.T.TempDir are not.
func folder(t *testing.T) string {
	t.Helper()
	d, err := os.MkdirTemp("", "pgserver-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(d) })
	if err := os.Chmod(d, 0o755); err != nil {
		t.Fatal(err)
	}
	return d
}

func start(t *testing.T, o Options) *Server {
	t.Helper()
	o.BinDir = binDir()
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Stop(time.Minute) })
	return s
}

func stop(t *testing.T, s *Server) {
	t.Helper()
	if err := s.Stop(time.Minute); err != nil {
		t.Fatal(err)
	}
}

func connect(t *testing.T, dsn string) *sql.DB {
	t.Helper()
	db, err := sql.Open("postgres", dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func run(t *testing.T, db *sql.DB, statement string) {
	t.Helper()
	if _, err := db.Exec(statement); err != nil {
		t.Fatalf("%s: %v", statement, err)
	}
}

func ask(t *testing.T, db *sql.DB, question string) (answer string) {
	t.Helper()
	if err := db.QueryRow(question).Scan(&answer); err != nil {
		t.Fatalf("%s: %v", question, err)
	}
	return answer
}

// eventually waits for what another process does; the limit only keeps a broken
// one from hanging the run.
func eventually(t *testing.T, what string, done func() bool) {
	t.Helper()
	for range 6000 {
		if done() {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatalf("never: %s", what)
}

// logbook is what a server said.
type logbook struct {
	mu   sync.Mutex
	said strings.Builder
}

func (l *logbook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.said.Write(p)
}

func (l *logbook) has(words string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Contains(l.said.String(), words)
}

// What PostgreSQL says at its start about its last end (seen of 15.18).
const (
	sawCleanStop = "database system was shut down at"
	sawCrash     = "automatic recovery in progress"
)
