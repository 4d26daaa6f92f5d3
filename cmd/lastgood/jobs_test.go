package main

import (
	"context"
	"database/sql"
	"strings"
	"testing"
	"time"
)

// TestKilledInTheMiddleOfAJob: a server that is killed while it traces leaves the
// deviation due and the job as being done, by nobody. The next server gives the
// job back and traces the deviation, once.
func TestKilledInTheMiddleOfAJob(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	i := newInstallation(t)
	i.serve()
	i.probe()
	var text strings.Builder
	if err := rows(&text, 0, 50); err != nil {
		t.Fatal(err)
	}
	if _, err := i.upload(ctx, "before", "readings.csv", strings.NewReader(text.String())); err != nil {
		t.Fatal(err)
	}
	if _, err := i.check(ctx, "2026-08-03T06:00:00Z", 170); err != nil {
		t.Fatal(err)
	}
	i.kill()
	const runs = `select count(*) from trace_run`
	before := 0
	i.behind(func(db *sql.DB) {
		before = i.number(db, runs)
		for _, q := range []string{
			`update deviation set retrace_due = now(), evidence_count = evidence_count + 1`,
			`delete from river_job`,
			`insert into river_job (kind, args, max_attempts, state, attempt, attempted_at, attempted_by)
				select 'retrace', jsonb_build_object('plant', plant_id, 'deviation', deviation_id), 25, 'running', 1, now(), array['the one that was killed']
				from deviation`,
		} {
			if _, err := db.Exec(q); err != nil {
				t.Fatal(err)
			}
		}
	})
	i.serve()
	for end := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		body, err := i.send(ctx, "GET", "/v1/deviations", "application/json", nil)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(strings.ReplaceAll(string(body), " ", ""), `"retrace_due":null`) {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("never traced: %s", body)
		}
	}
	i.kill()
	i.behind(func(db *sql.DB) {
		i.sound(db)
		if n := i.number(db, runs); n != before+1 {
			t.Errorf("%d runs after the kill", n-before)
		}
	})
}
