// Package trail is the decision trail: one entry for every command, written in
// the command's own transaction, in a chain for each stream.
//
// A stream is one thing's story: "deviation/12", "cascade/3",
// "hold/7" (of one that was placed by hand), "instrument/T-114", "batch/…",
// "administration". An entry's bytes are JSON with these members, in
// this order:
//
//	stream, seq   its place; seq starts at 1 and has no holes
//	prev          base64 of the hash of the entry before it; zeroes for the first
//	happened_at   when it happened, RFC 3339, UTC, microseconds
//	recorded_at   when it was recorded
//	actor, kind   who, and what sort of actor
//	action        what, past tense: "hold.placed"
//	subject, version   the thing and its version after the action
//	before, after full values, where something changed
//	reason, cause in words; what made it happen
//
// The hash of an entry is SHA-256 over a zero byte and the entry's bytes, which
// is the leaf hash of RFC 6962, section 2.1. The bytes are kept as they were
// hashed; nothing is ever hashed again from a parsed form.
package trail

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/pg"
)

// Entry is what a command says it did.
type Entry struct {
	Stream     string
	Action     string
	Subject    string
	Version    int
	HappenedAt time.Time // when it happened; zero: now
	Before     any
	After      any
	Reason     string
}

// Record is an entry as it is written.
type Record struct {
	Stream     string    `json:"stream"`
	Seq        int64     `json:"seq"`
	Prev       []byte    `json:"prev"`
	HappenedAt time.Time `json:"happened_at"`
	RecordedAt time.Time `json:"recorded_at"`
	Actor      string    `json:"actor"`
	Kind       string    `json:"kind"`
	Action     string    `json:"action"`
	Subject    string    `json:"subject"`
	Version    int       `json:"version,omitzero"`
	Before     any       `json:"before,omitempty"`
	After      any       `json:"after,omitempty"`
	Reason     string    `json:"reason,omitzero"`
	Cause      string    `json:"cause,omitzero"`
}

// Hash returns the hash of an entry's bytes.
func Hash(body []byte) []byte {
	h := sha256.New()
	h.Write([]byte{0})
	h.Write(body)
	return h.Sum(nil)
}

// Append adds an entry to its stream, in the command's transaction. Call it
// last: whoever else appends to the stream waits until the commit.
func Append(ctx context.Context, tx *pg.Tx, e Entry) error {
	if err := tx.OwnStream(ctx, e.Stream); err != nil {
		return fmt.Errorf("trail %s: %w", e.Stream, err)
	}
	r := Record{Stream: e.Stream, HappenedAt: e.HappenedAt.UTC().Truncate(time.Microsecond), RecordedAt: tx.Now,
		Actor: tx.By.ID, Kind: string(tx.By.Kind), Action: e.Action, Subject: e.Subject, Version: e.Version,
		Before: e.Before, After: e.After, Reason: e.Reason, Cause: tx.Cause}
	if e.HappenedAt.IsZero() {
		r.HappenedAt = tx.Now
	}
	last, err := head(ctx, tx, e.Stream)
	if err != nil {
		return fmt.Errorf("trail %s: %w", e.Stream, err)
	}
	r.Seq, r.Prev = last.Seq+1, last.Hash
	body, err := json.Marshal(r, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("trail %s: %w", e.Stream, err)
	}
	entry, err := insert(ctx, tx, r, body)
	if err != nil {
		return fmt.Errorf("trail %s: %w", e.Stream, err)
	}
	return tell(ctx, tx, r, entry)
}

type link struct {
	Seq  int64  `db:"seq"`
	Hash []byte `db:"hash"`
}

func head(ctx context.Context, tx *pg.Tx, stream string) (link, error) {
	l := link{Hash: make([]byte, sha256.Size)}
	const last = `select seq, hash from trail_entry where plant_id = $1 and stream = $2 order by seq desc limit 1`
	err := tx.GetContext(ctx, &l, last, tx.Plant, stream)
	if errors.Is(err, sql.ErrNoRows) {
		return l, nil
	}
	return l, err
}

// insert writes the entry, puts it in line for the Merkle log, and returns its
// number.
func insert(ctx context.Context, tx *pg.Tx, r Record, body []byte) (entry int64, err error) {
	const add = `with e as (
		insert into trail_entry (plant_id, stream, seq, prev_hash, hash, body, recorded_at)
		values ($1, $2, $3, $4, $5, $6, $7) returning plant_id, entry_id)
		insert into trail_pending (plant_id, entry_id) select plant_id, entry_id from e returning entry_id`
	err = tx.GetContext(ctx, &entry, add, tx.Plant, r.Stream, r.Seq, r.Prev, Hash(body), body, tx.Now)
	return entry, err
}
