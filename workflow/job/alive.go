package job

import (
	"context"
	"database/sql"
	"time"
)

// A runner that was killed leaves its jobs marked as being done, and the queue
// gives them back only when they have taken longer than any job may. So a runner
// shows that it lives: for as long as it does, a connection of its own holds a
// lock with its name, which the database drops with the connection. Whose lock is
// free is dead, and its jobs are free.

const (
	lifeLock  = 7 // a class of advisory lock, beside those of the plant's
	signEvery = 5 * time.Second
	buryEvery = 2 * time.Second
)

// live takes the runner's lock.
func (r *Runner) live(ctx context.Context) (*sql.Conn, error) {
	conn, err := r.db.Queue().Conn(ctx)
	if err != nil {
		return nil, err
	}
	if _, err := conn.ExecContext(ctx, `select pg_advisory_lock($1, hashtext($2))`, lifeLock, r.id); err != nil {
		conn.Close()
		return nil, err
	}
	return conn, nil
}

// stayAlive keeps the lock until ctx ends, and takes it again when the connection
// is lost. Jobs that were given back meanwhile are done twice, which does no harm.
func (r *Runner) stayAlive(ctx context.Context, conn *sql.Conn) {
	for {
		select {
		case <-ctx.Done():
			if conn != nil {
				_, _ = conn.ExecContext(context.WithoutCancel(ctx), `select pg_advisory_unlock($1, hashtext($2))`, lifeLock, r.id)
				conn.Close()
			}
			return
		case <-time.After(signEvery):
		}
		if conn != nil && conn.PingContext(ctx) != nil && ctx.Err() == nil {
			conn.Close()
			conn = nil
		}
		if conn == nil {
			conn, _ = r.live(ctx) // or at the next turn
		}
	}
}

// giveBack frees the jobs of the dead. The lock of a runner that lives is taken;
// that of another is taken for a moment, so that nobody starts under its name.
const giveBack = `
with dead as materialized (
  select x.runner from (
    select distinct attempted_by[array_upper(attempted_by, 1)] as runner from river_job where state = 'running' offset 0) x
  where pg_try_advisory_xact_lock($1, hashtext(x.runner)))
update river_job set state = 'available', scheduled_at = now()
where state = 'running' and attempted_by[array_upper(attempted_by, 1)] in (select runner from dead)`

// bury is the look that gives back the jobs of runners that died.
func (r *Runner) bury(ctx context.Context) ([]Args, error) {
	_, err := r.db.Queue().ExecContext(ctx, giveBack, lifeLock)
	return nil, err
}
