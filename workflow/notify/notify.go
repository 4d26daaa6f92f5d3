// Package notify owns who is told of product in doubt that has left: one row an
// authority, with what was said to it and what it answered.
package notify

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// ID is the database's number of a notification, within its plant.
type ID int64

// Notification is one authority in one deviation; of the one who asks for records,
// one request.
type Notification struct {
	ID         ID         `db:"notification_id"`
	Deviation  int64      `db:"deviation_id"`
	Authority  string     `db:"authority"`
	State      string     `db:"state"`
	OpenedAt   time.Time  `db:"opened_at"`
	OpenedBy   string     `db:"opened_by"`
	Determined *time.Time `db:"determined_at"` // by the last signature, or when the authority asked
	ClockFrom  *time.Time `db:"clock_from"`    // nil: no clock runs
	SentAt     *time.Time `db:"sent_at"`       // the first notice
	Basis      []byte     `db:"basis"`         // digest of the shipped product that was determined on
	Version    int        `db:"version"`
}

const columns = `select notification_id, deviation_id, authority, state, opened_at, opened_by, determined_at, clock_from, sent_at, basis, version
	from notification where plant_id = $1 and `

// Of returns the notifications of a deviation, in the order of opening.
func Of(ctx context.Context, tx *pg.Tx, deviation int64) ([]Notification, error) {
	var list []Notification
	if err := tx.SelectContext(ctx, &list, columns+`deviation_id = $2 order by notification_id`, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("notifications: %w", err)
	}
	return list, nil
}

// Get returns one. fault.NotFound: there is none.
func Get(ctx context.Context, tx *pg.Tx, id ID) (n Notification, err error) {
	err = tx.GetContext(ctx, &n, columns+`notification_id = $2`, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return n, fault.New(fault.NotFound, "unknown-notification", "there is no notification %d", id)
	}
	return n, err
}

// Open begins one, not assessed.
func Open(ctx context.Context, tx *pg.Tx, deviation int64, authority string) (n Notification, err error) {
	const add = `insert into notification (plant_id, deviation_id, authority, state, opened_at, opened_by)
		values ($1, $2, $3, 'not_assessed', $4, $5) returning notification_id`
	n = Notification{Deviation: deviation, Authority: authority, State: "not_assessed", OpenedAt: tx.Now, OpenedBy: tx.By.ID, Version: 1}
	if err = tx.GetContext(ctx, &n.ID, add, tx.Plant, deviation, authority, tx.Now, tx.By.ID); err != nil {
		return n, fmt.Errorf("notification of %s: %w", authority, err)
	}
	return n, nil
}

// Put stores what has become of it, as the next version.
func Put(ctx context.Context, tx *pg.Tx, n Notification) error {
	const q = `update notification set state = $3, determined_at = $4, clock_from = $5, sent_at = $6, basis = $7, version = version + 1
		where plant_id = $1 and notification_id = $2`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, n.ID, n.State, n.Determined, n.ClockFrom, n.SentAt, n.Basis); err != nil {
		return fmt.Errorf("notification %d: %w", n.ID, err)
	}
	return nil
}

// Message is what was said to an authority, or what it answered.
type Message struct {
	ID           int64     `db:"message_id"`
	Notification ID        `db:"notification_id"`
	Kind         string    `db:"kind"` // sent, acknowledged, amended, done
	At           time.Time `db:"at"`
	Whom         string    `db:"whom"`
	Method       string    `db:"method"`
	Person       string    `db:"person"`       // who told them
	Version      *int      `db:"text_version"` // of the text; nil: nothing was said
	Digest       []byte    `db:"digest"`       // of the text, which is kept
	Reference    string    `db:"reference"`    // the authority's
	RecordedAt   time.Time `db:"recorded_at"`
	RecordedBy   string    `db:"recorded_by"`
}

// MessagesOf returns everything that was said in a deviation, in the order of
// recording.
func MessagesOf(ctx context.Context, tx *pg.Tx, deviation int64) ([]Message, error) {
	const q = `select m.message_id, m.notification_id, m.kind, m.at, m.whom, m.method, m.person, m.text_version, m.digest, m.reference,
		m.recorded_at, m.recorded_by from notification_message m join notification n using (plant_id, notification_id)
		where m.plant_id = $1 and n.deviation_id = $2 order by m.message_id`
	var list []Message
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("notices: %w", err)
	}
	return list, nil
}

// Add stores what was said and returns it.
func Add(ctx context.Context, tx *pg.Tx, m Message) (Message, error) {
	const add = `insert into notification_message (plant_id, notification_id, kind, at, whom, method, person, text_version, digest, reference,
		recorded_at, recorded_by) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) returning message_id`
	m.RecordedAt, m.RecordedBy = tx.Now, tx.By.ID
	err := tx.GetContext(ctx, &m.ID, add, tx.Plant, m.Notification, m.Kind, m.At, m.Whom, m.Method, m.Person, m.Version, m.Digest, m.Reference,
		m.RecordedAt, m.RecordedBy)
	if err != nil {
		return m, fmt.Errorf("notice: %w", err)
	}
	return m, nil
}
