package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"lastgood/api"
	"lastgood/testdata/demo"
)

// probe is a plant with one probe that is checked good once, and its policy.
func (i *installation) probe() {
	i.Helper()
	ctx := context.Background()
	if _, err := i.send(ctx, http.MethodPut, "/v1/policy", "application/yaml", []byte("limits: [{limit: cook-core, kind: at_least, temperature: 160 F}]\n")); err != nil {
		i.Fatal(err)
	}
	for path, body := range map[string]string{
		"/v1/instruments": `{"items":[{"instrument":"P-1","unit":"F","tolerance":1,"in_service_from":"2026-01-01T00:00:00Z"}]}`,
	} {
		if _, err := i.send(ctx, http.MethodPost, path, "application/json", []byte(body)); err != nil {
			i.Fatal(err)
		}
	}
	if _, err := i.check(ctx, "2026-08-01T06:00:00Z", 160.2); err != nil {
		i.Fatal(err)
	}
}

// check records a check of P-1 at 160 °F.
func (i *installation) check(ctx context.Context, at string, found float64) ([]byte, error) {
	body := fmt.Sprintf(`{"instrument":"P-1","performed_at":"%s","performed_by":"tech-1","points":[{"point":"comparison","unit":"F","reference_reading":160.0,"reference_uncertainty":0.5,"found":%v}]}`, at, found)
	return i.send(ctx, http.MethodPost, "/v1/checks", "application/json", []byte(body))
}

// rows writes n readings of P-1, one a second, ten a lot, from a second of
// August on.
func rows(w io.Writer, from, n int) error {
	if _, err := io.WriteString(w, "instrument,taken_at,value,unit,lot,limit,source_id\n"); err != nil {
		return err
	}
	for k := from; k < from+n; k++ {
		_, err := fmt.Fprintf(w, "P-1,2026-08-%02dT%02d:%02d:%02dZ,163.1,F,L-%d,cook-core,%d\n", 2+k/86400, k/3600%24, k/60%60, k%60, k/10, k)
		if err != nil {
			return err
		}
	}
	return nil
}

// TestKilledInTheMiddleOfAnUpload: what was taken in is whole chunks, and
// sending the same again completes it.
func TestKilledInTheMiddleOfAnUpload(t *testing.T) {
	t.Parallel()
	i := newInstallation(t)
	i.serve()
	i.probe()
	const total = 180_000
	in, out := io.Pipe()
	go func() {
		err := rows(out, 0, 120_000)
		i.kill() // with the third chunk on its way
		out.CloseWithError(errors.Join(err, io.ErrUnexpectedEOF))
	}()
	if _, err := i.upload(context.Background(), "night-1", "readings.csv", in); err == nil {
		t.Error("the upload of a server that was killed was answered")
	}
	i.behind(func(db *sql.DB) {
		i.sound(db)
		if n := i.number(db, `select count(*) from reading`); n%50_000 != 0 {
			t.Errorf("%d readings: no whole number of chunks", n)
		}
	})
	i.serve()
	var all strings.Builder
	if err := rows(&all, 0, total); err != nil {
		t.Fatal(err)
	}
	said, err := i.upload(context.Background(), "night-1", "readings.csv", strings.NewReader(all.String()))
	if err != nil {
		t.Fatal(err)
	}
	if said.AcceptedRows+lineCount(said.Duplicates) != total {
		t.Errorf("%d accepted and %d duplicates of %d", said.AcceptedRows, lineCount(said.Duplicates), total)
	}
	i.kill()
	i.behind(func(db *sql.DB) {
		i.sound(db)
		if n := i.number(db, `select count(*) from reading`); n != total {
			t.Errorf("%d readings, want %d", n, total)
		}
	})
}

// TestKilledInTheMiddleOfAFailedCheck: each check that was answered is there with
// its deviation and its holds, and none is there by half.
func TestKilledInTheMiddleOfAFailedCheck(t *testing.T) {
	t.Parallel()
	i := newInstallation(t)
	i.serve()
	i.probe()
	var text strings.Builder
	if err := rows(&text, 0, 2000); err != nil {
		t.Fatal(err)
	}
	if _, err := i.upload(context.Background(), "b", "readings.csv", strings.NewReader(text.String())); err != nil {
		t.Fatal(err)
	}
	answered := 0
	for round := range 3 {
		var done atomic.Int64
		var wg sync.WaitGroup
		for w := range 4 { // four stations send the failures of a day, at their own times
			wg.Go(func() {
				for n := range 6 {
					at := fmt.Sprintf("2026-08-%02dT%02d:%02d:00Z", 10+round, w, n)
					if _, err := i.check(context.Background(), at, 162.4); err != nil {
						return
					}
					if done.Add(1) == int64(4+round) {
						i.child.Process.Kill()
					}
				}
			})
		}
		wg.Wait()
		i.kill()
		answered += int(done.Load())
		i.behind(func(db *sql.DB) {
			i.sound(db)
			if n := i.number(db, `select count(*) from accuracy_check where found_verdict = 'fail'`); n < answered {
				t.Errorf("%d failed checks, %d were answered", n, answered)
			}
			if n := i.number(db, `select count(*) from deviation`); n != 1 {
				t.Errorf("%d deviations: every repeat before a clear pass belongs to the first", n)
			}
			if n := i.number(db, `select count(*) from hold`); n != 200 {
				t.Errorf("%d holds, want one for each of 200 lots", n)
			}
		})
		i.serve()
	}
}

// TestKilledInTheMiddleOfAnImport: the same import again completes it, and once
// more changes nothing.
func TestKilledInTheMiddleOfAnImport(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "plant")
	if err := demo.Write(dir); err != nil {
		t.Fatal(err)
	}
	i := newInstallation(t)
	i.serve()
	base := i.base
	stop := i.killAfter(5)
	var out, errs strings.Builder
	if code := run(context.Background(), []string{"import", dir, "--url", stop.URL, "--key", i.key}, &out, &errs); code == exitClear {
		t.Fatalf("the import from %s went through a server that was killed", base)
	}
	i.behind(i.sound)
	i.serve()
	if said := i.program("import", dir, "--url", i.base, "--key", i.key); !strings.Contains(said, "4 deviations opened") {
		t.Errorf("the first whole import says\n%s", said)
	}
	again := i.program("import", dir, "--url", i.base, "--key", i.key)
	for line := range strings.Lines(again) {
		if !strings.Contains(line, " 0 new,") && !strings.Contains(line, " 0 deviations opened") {
			t.Errorf("the second whole import says: %s", line)
		}
	}
	i.kill()
	i.behind(func(db *sql.DB) {
		i.sound(db)
		if n := i.number(db, `select count(*) from deviation`); n != 4 { // testdata/demo/README.md
			t.Errorf("%d deviations, the demo plant has four", n)
		}
	})
}

// TestFiftyTimesTheSameFailedCheck: fifty stations that send one and the same
// failed check at once open one deviation.
func TestFiftyTimesTheSameFailedCheck(t *testing.T) {
	t.Parallel()
	i := newInstallation(t)
	i.serve()
	i.probe()
	var wg sync.WaitGroup
	for range 50 {
		wg.Go(func() {
			if _, err := i.check(context.Background(), "2026-08-10T06:00:00Z", 162.4); err != nil {
				var p *api.Problem
				errors.As(err, &p)
				t.Errorf("%v", err)
			}
		})
	}
	wg.Wait()
	i.kill()
	i.behind(func(db *sql.DB) {
		i.sound(db)
		if n := i.number(db, `select count(*) from deviation`); n != 1 {
			t.Errorf("%d deviations", n)
		}
	})
}
