package job

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
)

type sqlTx = *sql.Tx

// Look finds work that is due, again and again. What it finds becomes jobs, each
// once while one like it is open: two runners that find the same make one job. It
// may return both work and an error.
//
// That something is due is written where it belongs, in the transaction that makes
// it so, and a look finds it there; no job has to be remembered for it. A job put
// into the queue by each writer would not do instead: while one is being done, the
// queue takes no second one like it, and what came in meanwhile would be
// forgotten.
type Look struct {
	Name  string
	Every time.Duration
	Find  func(context.Context) ([]Args, error)
}

// look looks until ctx ends. After a failure it waits longer each time, up to a
// minute.
func (r *Runner) look(ctx context.Context, l Look) {
	wait := l.Every
	for {
		list, err := l.Find(ctx)
		if len(list) > 0 {
			if e := r.enqueue(ctx, list); e != nil {
				err = e
			}
		}
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			wait = max(l.Every, min(2*wait, time.Minute))
			r.log.Error("looking for work", "for", l.Name, "error", err.Error())
		default:
			wait = l.Every
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

// notOpen returns which of some jobs are not in the queue. To offer the queue what
// it has would change nothing and write rows all the same.
const notOpen = `
select r.n from jsonb_to_recordset($1) as r(n int, kind text, args jsonb)
where not exists (select from river_job j where j.kind = r.kind and j.args = r.args
  and j.state in ('available', 'pending', 'retryable', 'running', 'scheduled')) order by r.n`

func (r *Runner) enqueue(ctx context.Context, list []Args) error {
	type row struct {
		N    int    `json:"n"`
		Kind string `json:"kind"`
		Args Args   `json:"args"`
	}
	rows := make([]row, len(list))
	for i, a := range list {
		rows[i] = row{i, a.Kind(), a}
	}
	text, err := json.Marshal(rows)
	if err != nil {
		return fmt.Errorf("jobs: %w", err)
	}
	found, err := r.db.Queue().QueryContext(ctx, notOpen, string(text))
	if err != nil {
		return fmt.Errorf("jobs: %w", err)
	}
	defer found.Close()
	var fresh []Args
	for found.Next() {
		var n int
		if err := found.Scan(&n); err != nil {
			return fmt.Errorf("jobs: %w", err)
		}
		fresh = append(fresh, list[n])
	}
	if err := found.Err(); err != nil || len(fresh) == 0 {
		return err
	}
	_, err = r.client.InsertMany(ctx, params(fresh))
	return err
}
