package job

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/rivertype"

	"lastgood/workflow/pg"
)

// silent is for the queue's own talk; what matters of it comes as errors.
var silent = slog.New(slog.DiscardHandler)

// Bounds of a runner.
const (
	workers = 8
	// pollEvery is how often the queue is asked for jobs: nothing wakes a worker
	// after a commit, and ten small questions a second are cheap.
	pollEvery = 100 * time.Millisecond
	cooldown  = 20 * time.Millisecond
	// longest is how long a job may take: a trace over months of readings takes
	// minutes. A job whose runner died is given back much sooner, by alive.
	longest = 30 * time.Minute
	stuck   = longest + time.Minute
	// kept is how long jobs that are done stay to be looked at. The record of what
	// they did is not here.
	kept = time.Hour
)

// Runner does jobs until it is stopped. Any number of them may work on one
// database.
type Runner struct {
	id     string
	client *river.Client[sqlTx]
	db     *pg.DB
	log    *slog.Logger
	stop   context.CancelFunc
	beside sync.WaitGroup // looks, and the sign of life
}

// Start starts a runner that does the kinds of job, and finds work by looks. It
// works until Stop, whatever becomes of ctx.
func Start(ctx context.Context, db *pg.DB, kinds *Kinds, looks []Look, log *slog.Logger) (*Runner, error) {
	r := &Runner{id: rand.Text(), db: db, log: log}
	client, err := river.NewClient(riverdatabasesql.New(db.Queue()), &river.Config{
		ID: r.id, Workers: kinds.workers, Logger: silent, ErrorHandler: told{log},
		Queues:            map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: workers}},
		FetchPollInterval: pollEvery, FetchCooldown: cooldown, JobTimeout: longest, RescueStuckJobsAfter: stuck,
		CompletedJobRetentionPeriod: kept, ReindexerIndexNames: []string{}, // to reindex is the owner's right
	})
	if err != nil {
		return nil, fmt.Errorf("jobs: %w", err)
	}
	r.client = client
	life, err := r.live(ctx)
	if err != nil {
		return nil, fmt.Errorf("jobs: %w", err)
	}
	beside, stop := context.WithCancel(context.WithoutCancel(ctx))
	if err := client.Start(context.WithoutCancel(ctx)); err != nil {
		stop()
		life.Close()
		return nil, fmt.Errorf("jobs: %w", err)
	}
	r.stop = stop
	r.beside.Go(func() { r.stayAlive(beside, life) })
	for _, l := range append(looks, Look{Name: "jobs of runners that died", Every: buryEvery, Find: r.bury}) {
		r.beside.Go(func() { r.look(beside, l) })
	}
	return r, nil
}

// Stop lets the jobs under way end and takes no new ones. When ctx ends first,
// they are cut off; they are done again when a runner starts.
func (r *Runner) Stop(ctx context.Context) error {
	err := r.client.Stop(ctx)
	if err != nil {
		now, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		err = errors.Join(fmt.Errorf("jobs were cut off: %w", err), r.client.StopAndCancel(now))
	}
	r.stop() // last: whoever has jobs under way is alive
	r.beside.Wait()
	return err
}

// told logs what failed; the queue does it again.
type told struct{ log *slog.Logger }

// HandleError logs an error.
func (t told) HandleError(_ context.Context, j *rivertype.JobRow, err error) *river.ErrorHandlerResult {
	t.log.Error("job", "kind", j.Kind, "args", string(j.EncodedArgs), "attempt", j.Attempt, "error", err.Error())
	return nil
}

// HandlePanic logs a panic.
func (t told) HandlePanic(_ context.Context, j *rivertype.JobRow, p any, trace string) *river.ErrorHandlerResult {
	t.log.Error("job", "kind", j.Kind, "args", string(j.EncodedArgs), "attempt", j.Attempt, "panic", fmt.Sprint(p), "trace", trace)
	return nil
}
