package decision

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Evidence is something attached to a lot in doubt, or to one portion of it.
type Evidence struct {
	ID        int64                `db:"attached_id"`
	Deviation int64                `db:"deviation_id"`
	Lot       lot.ID               `db:"lot_id"`
	Portion   *lot.PortionID       `db:"portion_id"` // nil: all of the lot
	Kind      disposition.Evidence `db:"kind"`
	Digest    []byte               `db:"digest"` // of bytes that are kept; nil: a statement only
	Name      string               `db:"name"`
	Note      string               `db:"note"`
	At        time.Time            `db:"attached_at"`
	By        string               `db:"attached_by"`
}

// EvidenceOf returns what is attached in a deviation.
func EvidenceOf(ctx context.Context, tx *pg.Tx, deviation int64) ([]Evidence, error) {
	const q = `select attached_id, deviation_id, lot_id, portion_id, kind, digest, name, note, attached_at, attached_by
		from attached_evidence where plant_id = $1 and deviation_id = $2 order by attached_id`
	var list []Evidence
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("evidence: %w", err)
	}
	return list, nil
}

// Attach attaches evidence and returns it with its number.
func Attach(ctx context.Context, tx *pg.Tx, e Evidence) (Evidence, error) {
	const add = `insert into attached_evidence (plant_id, deviation_id, lot_id, portion_id, kind, digest, name, note, attached_at, attached_by)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) returning attached_id`
	e.At, e.By = tx.Now, tx.By.ID
	err := tx.GetContext(ctx, &e.ID, add, tx.Plant, e.Deviation, e.Lot, e.Portion, e.Kind, e.Digest, e.Name, e.Note, e.At, e.By)
	if err != nil {
		return e, fmt.Errorf("evidence: %w", err)
	}
	return e, nil
}

// Keep keeps bytes that something is decided on, once, and returns their digest.
func Keep(ctx context.Context, tx *pg.Tx, mediaType string, bytes []byte) ([]byte, error) {
	d := sha256.Sum256(bytes)
	const add = `insert into evidence (plant_id, digest, media_type, bytes, recorded_at) values ($1, $2, $3, $4, $5) on conflict do nothing`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, d[:], mediaType, bytes, tx.Now); err != nil {
		return nil, fmt.Errorf("evidence: %w", err)
	}
	return d[:], nil
}

// Paper is what is kept of evidence.
type Paper struct {
	MediaType string `db:"media_type"`
	Bytes     []byte `db:"bytes"`
}

// Kept returns the bytes of a digest. fault.NotFound: none are kept.
func Kept(ctx context.Context, tx *pg.Tx, digest []byte) (p Paper, err error) {
	err = tx.GetContext(ctx, &p, `select media_type, bytes from evidence where plant_id = $1 and digest = $2`, tx.Plant, digest)
	if errors.Is(err, sql.ErrNoRows) {
		return p, fault.New(fault.NotFound, "unknown-evidence", "no evidence of this digest is kept")
	}
	return p, err
}
