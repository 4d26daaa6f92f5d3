package workflow

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/disposition"
	"lastgood/policy/document"
	"lastgood/workflow/actor"
	"lastgood/workflow/hold"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// Escalation is that a hold waited too long for whoever guards the stock, each
// time that somebody was told so.
type Escalation struct {
	ID       int64          `db:"escalation_id"`
	Hold     hold.ID        `db:"subject_id"`
	Step     int            `db:"step"` // the how manieth time
	RaisedAt time.Time      `db:"raised_at"`
	Roles    pq.StringArray `db:"roles"` // who is told
	Text     string         `db:"text"`
	Lot      string         `db:"lot"`
	// Deviation is 0 where none asks for the hold.
	Deviation int64 `db:"deviation_id"`
}

// told are who is told at each step; the last stands for all that follow (a
// judgement: the line first, the plant's last word from the third time on).
var told = [][]disposition.Role{
	{disposition.LineSupervisor, disposition.QALead},
	{disposition.QALead, disposition.PlantManager},
	{disposition.QALead, disposition.PlantManager, disposition.RegulatoryLiaison},
}

func toldAt(step int) []disposition.Role { return told[min(step, len(told))-1] }

// waiting is a hold that nobody acknowledged in full, and how often it was
// escalated.
type waiting struct {
	ID       hold.ID    `db:"hold_id"`
	PlacedAt time.Time  `db:"placed_at"`
	Steps    int        `db:"steps"`
	LastAt   *time.Time `db:"last_at"`
}

const waitingHolds = `
select h.hold_id, h.placed_at, count(e.step) as steps, max(e.raised_at) as last_at from hold h
left join escalation e on e.plant_id = h.plant_id and e.subject_kind = 'hold' and e.subject_id = h.hold_id
where h.plant_id = $1 and h.lifted_at is null and (h.acknowledged_at is null or h.counted_quantity < h.quantity) and `

// due says whether a hold is to be escalated now. After a server was away, steps
// that it missed are not caught up all at once: each follows the one before.
func (w waiting) due(p document.Escalation, now time.Time) bool {
	if w.LastAt == nil {
		return !now.Before(w.PlacedAt.Add(p.HoldsAfter))
	}
	return !now.Before(w.LastAt.Add(p.AgainEvery))
}

// escalationsDue returns the holds of a plant that are to be escalated now.
func (s *Service) escalationsDue(ctx context.Context, plant pg.PlantID) (list []escalateJob, err error) {
	return ask(ctx, s, pg.Scope{Plant: plant, By: actor.Engine}, func(tx *pg.Tx) ([]escalateJob, error) {
		p, err := escalationPolicy(ctx, tx)
		if err != nil {
			return nil, err
		}
		var all []waiting
		if err := tx.SelectContext(ctx, &all, waitingHolds+`true group by h.plant_id, h.hold_id order by h.hold_id`, tx.Plant); err != nil {
			return nil, fmt.Errorf("waiting holds: %w", err)
		}
		for _, w := range all {
			if w.due(p, tx.Now) {
				list = append(list, escalateJob{plant, w.ID, w.Steps + 1})
			}
		}
		return list, nil
	})
}

// escalationPolicy is how long the plant lets things wait. A hold placed by hand
// needs no policy, nor does its escalation.
func escalationPolicy(ctx context.Context, tx *pg.Tx) (document.Escalation, error) {
	version, body, err := lastPolicy(ctx, tx)
	if err != nil || version == 0 {
		return document.DefaultEscalation, err
	}
	p, err := read.policy(body)
	if err != nil {
		return document.Escalation{}, fmt.Errorf("policy version %d: %w", version, err)
	}
	return p.Escalation, nil
}

// escalate escalates a hold for the step-th time, if it still waits and nobody was
// faster. An acknowledgement comes before it or after it, by the hold's own row.
func (s *Service) escalate(ctx context.Context, j escalateJob) error {
	sc := pg.Scope{Plant: j.Plant, By: actor.Engine, Cause: "nobody acknowledged the hold in time"}
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		const own = `select hold_id from hold where plant_id = $1 and hold_id = $2 for update`
		if _, err := tx.ExecContext(ctx, own, tx.Plant, j.Hold); err != nil {
			return err
		}
		p, err := escalationPolicy(ctx, tx)
		if err != nil {
			return err
		}
		var w waiting
		err = tx.GetContext(ctx, &w, waitingHolds+`h.hold_id = $2 group by h.plant_id, h.hold_id`, tx.Plant, j.Hold)
		switch {
		case errors.Is(err, sql.ErrNoRows): // acknowledged, or lifted
			return nil
		case err != nil:
			return fmt.Errorf("waiting hold: %w", err)
		case w.Steps+1 != j.Step || !w.due(p, tx.Now):
			return nil
		}
		h, err := hold.Get(ctx, tx, j.Hold)
		if err != nil {
			return err
		}
		return raise(ctx, tx, h, j.Step)
	})
}

func raise(ctx context.Context, tx *pg.Tx, h hold.Hold, step int) error {
	roles := toldAt(step)
	words := fmt.Sprintf("the hold on lot %s has not been acknowledged since %s", h.LotCode, h.PlacedAt.UTC().Format("2006-01-02 15:04 UTC"))
	if h.Short {
		words = fmt.Sprintf("less of lot %s was counted than is held since %s", h.LotCode, h.PlacedAt.UTC().Format("2006-01-02 15:04 UTC"))
	}
	const add = `insert into escalation (plant_id, subject_kind, subject_id, step, raised_at, roles, text)
		values ($1, 'hold', $2, $3, $4, $5, $6)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, h.ID, step, tx.Now, pq.Array(roles), words); err != nil {
		return fmt.Errorf("escalate hold %d: %w", h.ID, err)
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: holdStream(h.ID, h.Deviation, h.Cascade), Action: "hold.escalated", Subject: h.LotCode,
		Version: h.Version, Reason: words, After: map[string]any{"hold": h.ID, "step": step, "roles": roles}})
}

// Escalations returns up to limit escalations of holds that still wait, with
// numbers below before, newest first.
func (s *Service) Escalations(ctx context.Context, sc pg.Scope, before int64, limit int) ([]Escalation, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Escalation, error) {
		list := []Escalation{}
		const q = `select e.escalation_id, e.subject_id, e.step, e.raised_at, e.roles, e.text, l.code as lot,
			coalesce(h.deviation_id, 0) as deviation_id
			from escalation e join hold h on h.plant_id = e.plant_id and h.hold_id = e.subject_id
			join portion p on p.plant_id = h.plant_id and p.portion_id = h.portion_id
			join lot l on l.plant_id = p.plant_id and l.lot_id = p.lot_id
			where e.plant_id = $1 and e.subject_kind = 'hold' and e.escalation_id < $2 and h.lifted_at is null
			and (h.acknowledged_at is null or h.counted_quantity < h.quantity) order by e.escalation_id desc limit $3`
		return list, tx.SelectContext(ctx, &list, q, tx.Plant, before, limit)
	})
}
