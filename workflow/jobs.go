package workflow

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"lastgood/workflow/hold"
	"lastgood/workflow/job"
	"lastgood/workflow/pg"
)

// JobOptions are the choices that a server has about its jobs.
type JobOptions struct {
	Log *slog.Logger
	// AllowPrivateWebhooks lets events be sent to addresses inside the plant's own
	// network. Else whoever may add a webhook could make the server call them.
	AllowPrivateWebhooks bool
	// Checkpointed is given every checkpoint that this server signs, for a witness
	// outside; nil: there is none.
	Checkpointed func(signed []byte) error
}

// The kinds of job. What each is about stands in the database; a job names it.
type (
	cascadesJob struct {
		Plant pg.PlantID `json:"plant"`
	}
	retraceJob struct {
		Plant     pg.PlantID  `json:"plant"`
		Deviation DeviationID `json:"deviation"`
	}
	escalateJob struct {
		Plant pg.PlantID `json:"plant"`
		Hold  hold.ID    `json:"hold"`
		Step  int        `json:"step"`
	}
	overdueJob struct {
		Plant pg.PlantID `json:"plant"`
	}
	logJob struct {
		Plant pg.PlantID `json:"plant"`
	}
	relayJob struct {
		Plant pg.PlantID `json:"plant"`
	}
	deliverJob struct {
		Plant   pg.PlantID `json:"plant"`
		Webhook int64      `json:"webhook"`
		Event   int64      `json:"event"`
	}
)

// Kind names the look again at the cascades that pend.
func (cascadesJob) Kind() string { return "cascades" }

// Kind names a trace run that is due.
func (retraceJob) Kind() string { return "retrace" }

// Kind names the escalation of a hold.
func (escalateJob) Kind() string { return "escalate" }

// Kind names the opening of deviations by overdue checks.
func (overdueJob) Kind() string { return "overdue" }

// Kind names the putting of entries of the trail into the log.
func (logJob) Kind() string { return "log" }

// Kind names the handing out of positions to events.
func (relayJob) Kind() string { return "relay" }

// Kind names the sending of an event to a webhook.
func (deliverJob) Kind() string { return "deliver" }

// How often the server looks for work, and how long it waits after a failure. What
// is due stands in the database: nothing is lost between looks.
const (
	lookOften  = 200 * time.Millisecond
	lookAtLog  = 3 * time.Second  // so often there is a checkpoint while much happens
	lookSeldom = 20 * time.Second // for what waits minutes, or days
)

var (
	soon = job.Growing(time.Second, time.Minute)
	// later is 1 s, 2 s, 4 s, … up to 12 h: a receiver that is away for a week gets
	// what it missed.
	later = job.Growing(time.Second, 12*time.Hour)
)

// StartJobs starts a runner of the jobs of every plant: traces that late evidence
// makes due, escalations, overdue checks, and events to plant systems. Any number
// of servers may run them on one database.
func (s *Service) StartJobs(ctx context.Context, o JobOptions) (*job.Runner, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	s.witness = o.Checkpointed
	sender := newSender(o.AllowPrivateWebhooks)
	k := job.NewKinds()
	job.Add(k, soon, func(ctx context.Context, j cascadesJob) error { return s.refreshCascades(ctx, j.Plant) })
	job.Add(k, soon, func(ctx context.Context, j retraceJob) error {
		_, err := s.retrace(ctx, j.Plant, j.Deviation)
		return err
	})
	job.Add(k, soon, func(ctx context.Context, j escalateJob) error { return s.escalate(ctx, j) })
	job.Add(k, soon, func(ctx context.Context, j overdueJob) error { return s.openOverdue(ctx, j.Plant) })
	job.Add(k, soon, func(ctx context.Context, j logJob) error { return s.extendLog(ctx, j.Plant) })
	job.Add(k, soon, func(ctx context.Context, j relayJob) error { return s.relay(ctx, j.Plant) })
	job.Add(k, later, func(ctx context.Context, j deliverJob) error { return s.deliver(ctx, sender, j) })
	return job.Start(ctx, s.db, k, []job.Look{
		{Name: "traces", Every: lookOften, Find: s.tracesToDo},
		{Name: "events", Every: lookOften, Find: s.eventsToRelay},
		{Name: "log", Every: lookAtLog, Find: s.logsToExtend},
		{Name: "holds", Every: lookSeldom, Find: s.holdsToEscalate},
		{Name: "checks", Every: lookSeldom, Find: s.checksToOpen},
	}, o.Log)
}

// tracesToDo finds cascades first: what has come into doubt is held.
func (s *Service) tracesToDo(ctx context.Context) (list []job.Args, err error) {
	plants, err := s.db.DueCascades(ctx)
	if err != nil {
		return nil, err
	}
	for _, p := range plants {
		list = append(list, cascadesJob{p})
	}
	due, err := s.db.DueDeviations(ctx)
	for _, d := range due {
		list = append(list, retraceJob{d.Plant, DeviationID(d.Deviation)})
	}
	return list, err
}

func (s *Service) eventsToRelay(ctx context.Context) (list []job.Args, err error) {
	plants, err := s.db.DueOutboxes(ctx)
	for _, p := range plants {
		list = append(list, relayJob{p})
	}
	return list, err
}

func (s *Service) holdsToEscalate(ctx context.Context) (list []job.Args, err error) {
	plants, err := s.db.WaitingHolds(ctx)
	errs := []error{err}
	for _, p := range plants {
		due, err := s.escalationsDue(ctx, p)
		if err != nil {
			errs = append(errs, fmt.Errorf("plant %d: %w", p, err))
		}
		for _, j := range due {
			list = append(list, j)
		}
	}
	return list, errors.Join(errs...)
}

func (s *Service) checksToOpen(ctx context.Context) (list []job.Args, err error) {
	plants, err := s.db.CheckedPlants(ctx)
	errs := []error{err}
	for _, p := range plants {
		overdue, err := s.checksOverdue(ctx, p)
		if err != nil {
			errs = append(errs, fmt.Errorf("plant %d: %w", p, err))
		}
		if overdue {
			list = append(list, overdueJob{p})
		}
	}
	return list, errors.Join(errs...)
}
