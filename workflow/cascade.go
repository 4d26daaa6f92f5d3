package workflow

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/lib/pq"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// When a reference falls, every check made with it in the time in doubt falls
// too, instruments lose their last good check, windows grow and deviations open:
// a whole tree from one entry. Holding never waits: whatever the tree would put
// in doubt is held in the transaction of the entry. The rest is a cascade that
// pends, with the tree in full, until a second person has seen it and confirms
// it. Meanwhile no trace treats as good what the tree makes inDoubt: histories
// are loaded with the reference's window as it is.

// CascadeID is the database's number of a cascade, within its plant.
type CascadeID int64

// CascadeState is how far a cascade is.
type CascadeState string

// A cascade pends until it is confirmed, or until nothing is left of it to be
// done.
const (
	CascadePending   CascadeState = "pending"
	CascadeConfirmed CascadeState = "confirmed"
	CascadeOvertaken CascadeState = "overtaken"
)

// Cascade is what a reference that fell takes with it.
type Cascade struct {
	ID          CascadeID      `db:"cascade_id"`
	Reference   string         `db:"code"`
	Instrument  instrument.ID  `db:"instrument_id"`
	State       CascadeState   `db:"state"`
	StartedAt   time.Time      `db:"started_at"`
	PreviewedAt time.Time      `db:"previewed_at"`
	Actors      pq.StringArray `db:"actors"` // none of them confirms it
	Digest      []byte         `db:"digest"`
	RefreshDue  *time.Time     `db:"refresh_due"`
	ConfirmedAt *time.Time     `db:"confirmed_at"`
	ConfirmedBy *string        `db:"confirmed_by"`
	Version     int            `db:"version"`
	Body        []byte         `db:"preview"`
}

const selectCascades = `select k.cascade_id, i.code, k.instrument_id, k.state, k.started_at, k.previewed_at, k.actors, k.digest,
	k.refresh_due, k.confirmed_at, k.confirmed_by, k.version, k.preview
	from cascade k join instrument i using (plant_id, instrument_id) where k.plant_id = $1 and `

// stream is the cascade's stream of the trail.
func (c Cascade) stream() string { return fmt.Sprintf("cascade/%d", c.ID) }

// Tree returns the preview: the tree that a confirmation lets fall.
func (c Cascade) Tree() (f Foreseen, err error) {
	if err := json.Unmarshal(c.Body, &f); err != nil {
		return f, fmt.Errorf("cascade %d: %w", c.ID, err)
	}
	return f, nil
}

// Cascades returns up to limit cascades with numbers above after, in order of
// number; of one state if it is not empty.
func (s *Service) Cascades(ctx context.Context, sc pg.Scope, state CascadeState, after int64, limit int) ([]Cascade, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (list []Cascade, err error) {
		return list, tx.SelectContext(ctx, &list, selectCascades+`k.cascade_id > $2 and ($3 = '' or k.state = $3)
			order by k.cascade_id limit $4`, tx.Plant, after, string(state), limit)
	})
}

// Cascade returns one cascade.
func (s *Service) Cascade(ctx context.Context, sc pg.Scope, id CascadeID) (Cascade, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (Cascade, error) { return getCascade(ctx, tx, id) })
}

func getCascade(ctx context.Context, tx *pg.Tx, id CascadeID) (c Cascade, err error) {
	err = tx.GetContext(ctx, &c, selectCascades+`k.cascade_id = $2`, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return c, fault.New(fault.NotFound, "unknown-cascade", "there is no cascade %d", id)
	}
	return c, err
}

// pendingCascades returns the cascades that pend, in order of number. The caller
// owns the plant: nobody else changes them meanwhile.
func pendingCascades(ctx context.Context, tx *pg.Tx) (list []Cascade, err error) {
	return list, tx.SelectContext(ctx, &list, selectCascades+`k.state = 'pending' order by k.cascade_id`, tx.Plant)
}

// put writes a cascade with its preview: a new one, or an old one that looks
// different now. The trail keeps the digest of every preview.
func (c *Cascade) put(ctx context.Context, tx *pg.Tx, f Foreseen) error {
	body, err := json.Marshal(f, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("cascade: %w", err)
	}
	digest := sha256.Sum256(body)
	same := string(digest[:]) == string(c.Digest)
	c.Body, c.Digest, c.PreviewedAt = body, digest[:], tx.Now
	const add = `insert into cascade (plant_id, instrument_id, state, started_at, previewed_at, actors, digest, preview)
		values ($1, $2, 'pending', $3, $3, $4, $5, $6) returning cascade_id`
	const change = `update cascade set previewed_at = $3, actors = $4, digest = $5, preview = $6, refresh_due = null,
		version = version + (digest <> $5)::int where plant_id = $1 and instrument_id = $2 and state = 'pending' returning cascade_id`
	q := change
	if c.ID == 0 {
		q, c.StartedAt, c.State = add, tx.Now, CascadePending
	} else if !same {
		c.Version++
	}
	if err := tx.GetContext(ctx, &c.ID, q, tx.Plant, c.Instrument, tx.Now, c.Actors, c.Digest, c.Body); err != nil {
		return fmt.Errorf("cascade of %s: %w", c.Reference, err)
	}
	if same {
		return nil
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: c.stream(), Action: "cascade.previewed", Subject: c.Reference, Version: c.Version,
		After: map[string]any{"sha256": c.Digest, "checks": f.Checks, "instruments": f.Instruments, "windows": f.Windows, "lots": f.Lots}})
}

// putReach writes which checks and which windows a cascade is about, for those
// who ask whether something concerns it.
func (c *Cascade) putReach(ctx context.Context, tx *pg.Tx, o outlook) error {
	for _, q := range []string{`delete from cascade_check where plant_id = $1 and cascade_id = $2`,
		`delete from cascade_window where plant_id = $1 and cascade_id = $2`} {
		if _, err := tx.ExecContext(ctx, q, tx.Plant, c.ID); err != nil {
			return fmt.Errorf("reach of cascade %d: %w", c.ID, err)
		}
	}
	type checkRow struct {
		Cascade CascadeID `json:"cascade_id"`
		Check   int64     `json:"check_id"`
		Falls   bool      `json:"falls"`
	}
	checks := []checkRow{}
	for id, what := range o.checks {
		checks = append(checks, checkRow{c.ID, id, what.falls})
	}
	const addChecks = `insert into cascade_check (plant_id, cascade_id, check_id, falls) select $1, cascade_id, check_id, falls
		from json_to_recordset($2) as r(cascade_id bigint, check_id bigint, falls boolean) where $3::timestamptz is not null`
	if _, err := tx.Insert(ctx, addChecks, checks); err != nil {
		return fmt.Errorf("reach of cascade %d: %w", c.ID, err)
	}
	type windowRow struct {
		Cascade    CascadeID     `json:"cascade_id"`
		Ordinal    int           `json:"ordinal"`
		Instrument instrument.ID `json:"instrument_id"`
		After      *time.Time    `json:"after"`
		Until      *time.Time    `json:"until"`
	}
	windows := []windowRow{}
	for i, w := range o.windows {
		windows = append(windows, windowRow{c.ID, i, w.Instrument, w.After, w.Until})
	}
	const addWindows = `insert into cascade_window (plant_id, cascade_id, ordinal, instrument_id, span)
		select $1, cascade_id, ordinal, instrument_id, tstzrange("after", until, '(]') from json_to_recordset($2)
		as r(cascade_id bigint, ordinal int, instrument_id int, "after" timestamptz, until timestamptz) where $3::timestamptz is not null`
	if _, err := tx.Insert(ctx, addWindows, windows); err != nil {
		return fmt.Errorf("reach of cascade %d: %w", c.ID, err)
	}
	return nil
}
