package main

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	_ "github.com/lib/pq" // to look behind the program's back

	"lastgood/workflow/pg/pgserver"
)

// installation is a plant on a kept data folder, served by a child process that
// a test may kill.
type installation struct {
	*testing.T
	dir   string
	where []string // the flags that name the database
	key   string
	*client
	child *exec.Cmd
}

const plantName = "Tallow Mere Kitchens"

// newInstallation makes the data folder, the plant and a key.
func newInstallation(t *testing.T) *installation {
	t.Helper()
	dir, err := os.MkdirTemp("", "lastgood-knock-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir); os.Remove(dir + ".checkpoint-key") })
	if err := os.Chmod(dir, 0o755); err != nil { // the database's account has to enter
		t.Fatal(err)
	}
	i := &installation{T: t, dir: dir, where: []string{"--data", dir}}
	i.addPlant()
	return i
}

func (i *installation) addPlant() {
	i.Helper()
	i.program(append([]string{"plant", "add", "--name", plantName, "--time-zone", "UTC"}, i.where...)...)
	i.key = strings.TrimSpace(i.program(append([]string{"key", "add", "--plant", plantName, "--name", "tests"}, i.where...)...))
}

// program runs a command of the program in this process and returns what it
// printed.
func (i *installation) program(args ...string) string {
	i.Helper()
	var out, errs bytes.Buffer
	if code := run(context.Background(), args, &out, &errs); code != exitClear {
		i.Fatalf("%v: exit status %d\n%s", args, code, errs.String())
	}
	return out.String()
}

// serve starts the child and returns when it serves.
func (i *installation) serve() {
	i.Helper()
	cmd := exec.Command(os.Args[0], append([]string{"serve", "--listen", "127.0.0.1:0"}, i.where...)...)
	cmd.Env = append(os.Environ(), "LASTGOOD_TEST_AS_PROGRAM=1", "XDG_CONFIG_HOME="+i.dir)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.StdoutPipe()
	if err != nil {
		i.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		i.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		cmd.Wait()
		i.Fatalf("serve: %v\n%s", err, errs.String())
	}
	i.child = cmd
	i.client = &client{base: strings.TrimSpace(strings.TrimPrefix(line, "serving on ")), key: i.key, http: &http.Client{}}
	i.Cleanup(i.kill)
}

// kill ends the child as a power cut would.
func (i *installation) kill() {
	if i.child != nil {
		i.child.Process.Kill()
		i.child.Wait()
		i.child = nil
	}
}

// behind opens the database itself, when no child runs, and asks it things.
func (i *installation) behind(f func(*sql.DB)) {
	i.Helper()
	s, err := pgserver.Start(context.Background(), pgserver.Options{Dir: i.dir})
	if err != nil {
		i.Fatal(err)
	}
	defer s.Stop(10 * time.Second)
	db, err := sql.Open("postgres", s.AdminURL("lastgood"))
	if err != nil {
		i.Fatal(err)
	}
	defer db.Close()
	f(db)
}

// number asks the database for one number.
func (i *installation) number(db *sql.DB, query string, args ...any) (n int) {
	i.Helper()
	if err := db.QueryRow(query, args...).Scan(&n); err != nil {
		i.Fatalf("%s: %v", query, err)
	}
	return n
}

// sound checks what must be true of every database, whatever happened to the
// program: nothing half-written, every failure contained, the trail whole.
func (i *installation) sound(db *sql.DB) {
	i.Helper()
	for what, query := range map[string]string{
		"batches whose readings are not all there": `select count(*) from ingest_batch b where rows_new <>
			(select count(*) from reading r where r.plant_id = b.plant_id and r.batch_id = b.batch_id)`,
		"readings of no batch":              `select count(*) from reading r where not exists (select from ingest_batch b where b.plant_id = r.plant_id and b.batch_id = r.batch_id)`,
		"checks without their points":       `select count(*) from accuracy_check c where not unusable and not exists (select from check_point p where p.plant_id = c.plant_id and p.check_id = c.check_id)`,
		"failed checks without a deviation": `select count(*) from accuracy_check c where found_verdict = 'fail' and not exists (select from deviation d where d.plant_id = c.plant_id and d.instrument_id = c.instrument_id)`,
		"deviations without a window":       `select count(*) from deviation d where not exists (select from deviation_window w where w.plant_id = d.plant_id and w.deviation_id = d.deviation_id)`,
		"suspect lots that are not held": `select count(*) from deviation_lot l join portion p using (plant_id, lot_id) where p.state <> 'on_hold' and not exists (select from shipment s where s.plant_id = l.plant_id and s.lot_id = l.lot_id)
			and not exists (select from transformation t where t.plant_id = l.plant_id and t.input_lot_id = l.lot_id)`,
		"trail entries that are neither in the log nor in line": `select count(*) from trail_entry e where not exists (select from trail_pending p where p.plant_id = e.plant_id and p.entry_id = e.entry_id)
			and not exists (select from trail_leaf l where l.plant_id = e.plant_id and l.entry_id = e.entry_id)`,
		"trail entries that are in the log and in line": `select count(*) from trail_pending join trail_leaf using (plant_id, entry_id)`,
		"holes in the log":   `select count(*) from (select max(tree_index) + 1 as size, count(*) as n from trail_leaf group by plant_id) t where size <> n`,
		"holes in the trail": `select count(*) from (select stream, max(seq) as last, count(*) as n from trail_entry group by plant_id, stream) t where last <> n`,
	} {
		if n := i.number(db, query); n != 0 {
			i.Errorf("%s: %d", what, n)
		}
	}
}

// killAfter stands before the child and kills it after so many requests have
// been answered, with the next one on its way.
func (i *installation) killAfter(n int64) *httptest.Server {
	i.Helper()
	target, err := url.Parse(i.base)
	if err != nil {
		i.Fatal(err)
	}
	proxy := httputil.NewSingleHostReverseProxy(target)
	proxy.ErrorLog = log.New(io.Discard, "", 0)
	var seen atomic.Int64
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if seen.Add(1) > n {
			go i.child.Process.Kill()
		}
		proxy.ServeHTTP(w, r)
	}))
	i.Cleanup(s.Close)
	return s
}
