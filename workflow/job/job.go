// Package job is the door to the job queue: what a kind of job does, how work
// that is due becomes jobs, and the runner that does them. Only this package names
// the queue.
//
// A job is told the plant and the numbers of what it is about, and reads the rest
// when it is done. It may be done more than once, when a runner ends in the
// middle, so whatever it does must come out the same the second time: the rows
// that it writes have a key that lets each be written once.
package job

import (
	"context"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/rivertype"

	"lastgood/workflow/pg"
)

// Args are what a job is told, which can be compared; Kind names what it does.
type Args = river.JobArgs

// Wait says how long to wait after so many attempts that failed.
type Wait func(attempts int) time.Duration

// Growing waits twice as long each time, from first up to most.
func Growing(first, most time.Duration) Wait {
	return func(attempts int) time.Duration {
		d := first
		for range attempts - 1 {
			if d = 2 * d; d >= most {
				return most
			}
		}
		return d
	}
}

// Kinds are the kinds of job that a runner does.
type Kinds struct{ workers *river.Workers }

// NewKinds returns no kinds yet.
func NewKinds() *Kinds { return &Kinds{river.NewWorkers()} }

// Add says what a kind of job does. A job whose f fails is done again after a
// wait, until it succeeds or gives up.
func Add[A Args](k *Kinds, wait Wait, f func(context.Context, A) error) {
	river.AddWorker(k.workers, &worker[A]{wait: wait, f: f})
}

type worker[A Args] struct {
	river.WorkerDefaults[A]
	wait Wait
	f    func(context.Context, A) error
}

// Work does a job.
func (w *worker[A]) Work(ctx context.Context, j *river.Job[A]) error { return w.f(ctx, j.Args) }

// NextRetry is when a job that failed is done again.
func (w *worker[A]) NextRetry(j *river.Job[A]) time.Time { return time.Now().Add(w.wait(j.Attempt)) }

// GiveUp is what a job returns that is not to be done again.
func GiveUp(why error) error { return river.JobCancel(why) }

// attempts is how often a job is tried before the queue forgets it. What is still
// due then is found again and becomes a new job.
const attempts = 25

// once is how a job goes into the queue: none like it is open.
var once = &river.InsertOpts{MaxAttempts: attempts, UniqueOpts: river.UniqueOpts{ByArgs: true, ByState: []rivertype.JobState{
	rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRetryable, rivertype.JobStateRunning, rivertype.JobStateScheduled}}}

// Insert puts jobs into the queue in the command's own transaction: they are done
// if it commits, each once while one like it is open.
func Insert(ctx context.Context, tx *pg.Tx, list []Args) error {
	if len(list) == 0 {
		return nil
	}
	// Without a pool: the transaction is all that it needs.
	c, err := river.NewClient(riverdatabasesql.New(nil), &river.Config{Logger: silent})
	if err != nil {
		return err
	}
	_, err = c.InsertManyTx(ctx, tx.Tx.Tx, params(list))
	return err
}

// params names every job once: the queue refuses two alike in one request.
func params(list []Args) (out []river.InsertManyParams) {
	seen := map[Args]bool{}
	for _, a := range list {
		if !seen[a] {
			seen[a] = true
			out = append(out, river.InsertManyParams{Args: a, InsertOpts: once})
		}
	}
	return out
}
