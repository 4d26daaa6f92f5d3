//go:build linux

package pgserver

import (
	"database/sql"
	"os"
	"strings"
	"sync"
	"testing"
	"time"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childMode); dir != "" {
		supervise(dir)
		return
	}
	os.Exit(m.Run())
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

// What PostgreSQL says at its start about its last end, and when it starts anew
// after a backend crashed (seen of 15.18).
const (
	sawCleanStop    = "database system was shut down at"
	sawCrash        = "automatic recovery in progress"
	sawBackendCrash = "all server processes terminated; reinitializing"
)
