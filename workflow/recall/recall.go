// Package recall owns what is retrieved that has left: the recall of a deviation,
// its texts, the notices to consignees and what they answered, samples and
// effectiveness checks, status reports, and the letters of the agency. What was
// carried out stands elsewhere, with the dispositions.
package recall

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// ID is the database's number of a recall, within its plant.
type ID int64

// Recall is that of one deviation.
type Recall struct {
	ID        ID         `db:"recall_id"`
	Deviation int64      `db:"deviation_id"`
	State     string     `db:"state"`
	Pack      []byte     `db:"pack"`  // what people wrote of it, JSON
	Basis     []byte     `db:"basis"` // digest of the shipped product that was decided on
	OpenedAt  time.Time  `db:"opened_at"`
	OpenedBy  string     `db:"opened_by"`
	DecidedAt *time.Time `db:"decided_at"` // first
	Version   int        `db:"version"`
}

const columns = `select recall_id, deviation_id, state, pack, basis, opened_at, opened_by, decided_at, version from recall where plant_id = $1 and `

// Of returns the recall of a deviation. fault.NotFound: it has none.
func Of(ctx context.Context, tx *pg.Tx, deviation int64) (r Recall, err error) {
	err = tx.GetContext(ctx, &r, columns+`deviation_id = $2`, tx.Plant, deviation)
	if errors.Is(err, sql.ErrNoRows) {
		return r, fault.New(fault.NotFound, "unknown-recall", "nobody has drawn up a recall in deviation %d", deviation)
	}
	return r, err
}

// Open begins one, not needed so far.
func Open(ctx context.Context, tx *pg.Tx, deviation int64) (r Recall, err error) {
	const add = `insert into recall (plant_id, deviation_id, state, pack, basis, opened_at, opened_by) values ($1, $2, 'not_needed', '', '', $3, $4)
		returning recall_id`
	r = Recall{Deviation: deviation, State: "not_needed", OpenedAt: tx.Now, OpenedBy: tx.By.ID, Version: 1}
	if err = tx.GetContext(ctx, &r.ID, add, tx.Plant, deviation, tx.Now, tx.By.ID); err != nil {
		return r, fmt.Errorf("recall: %w", err)
	}
	return r, nil
}

// Put stores what has become of it, as the next version.
func Put(ctx context.Context, tx *pg.Tx, r Recall) error {
	const q = `update recall set state = $3, pack = $4, basis = $5, decided_at = $6, version = version + 1 where plant_id = $1 and recall_id = $2`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, r.ID, r.State, r.Pack, r.Basis, r.DecidedAt); err != nil {
		return fmt.Errorf("recall %d: %w", r.ID, err)
	}
	return nil
}

// Letter is what the agency said or was told of the recall.
type Letter struct {
	ID         int64     `db:"letter_id"`
	Kind       string    `db:"kind"` // class, termination_request, termination
	Says       string    `db:"says"` // of a class: the class
	Reference  string    `db:"reference"`
	At         time.Time `db:"at"`
	Digest     []byte    `db:"digest"` // of the letter, which is kept; nil: the reference only
	RecordedAt time.Time `db:"recorded_at"`
	RecordedBy string    `db:"recorded_by"`
}

// Text is a version of what consignees are told.
type Text struct {
	Version   int       `db:"text_version"`
	Digest    []byte    `db:"digest"`
	WrittenAt time.Time `db:"written_at"`
	WrittenBy string    `db:"written_by"`
}

// Notice is that a consignee was told.
type Notice struct {
	ID         int64     `db:"notice_id"`
	Consignee  string    `db:"consignee"`
	Version    int       `db:"text_version"`
	Method     string    `db:"method"`
	Whom       string    `db:"whom"`   // who was told there
	Person     string    `db:"person"` // who told them
	At         time.Time `db:"at"`
	RecordedAt time.Time `db:"recorded_at"`
	RecordedBy string    `db:"recorded_by"`
}

// Response is what a consignee says has become of what they got. The latest word
// counts.
type Response struct {
	ID         int64     `db:"response_id"`
	Consignee  string    `db:"consignee"`
	Shipment   string    `db:"shipment"`
	Lot        int64     `db:"lot_id"`
	OnHand     string    `db:"on_hand"`
	Returned   string    `db:"returned"`
	Destroyed  string    `db:"destroyed"`
	SoldOn     string    `db:"sold_on"`
	Unit       string    `db:"quantity_unit"`
	Person     string    `db:"person"` // who answered there
	At         time.Time `db:"at"`
	RecordedAt time.Time `db:"recorded_at"`
	RecordedBy string    `db:"recorded_by"`
}

// Check is whether a consignee was found to have acted on the notice.
type Check struct {
	ID         int64     `db:"check_id"`
	Consignee  string    `db:"consignee"`
	Notice     int64     `db:"notice_id"` // whose effect was checked
	Passed     bool      `db:"passed"`
	Method     string    `db:"method"`
	Person     string    `db:"person"` // who checked
	Note       string    `db:"note"`
	At         time.Time `db:"at"`
	RecordedAt time.Time `db:"recorded_at"`
	RecordedBy string    `db:"recorded_by"`
}

// Status is a report to the agency, as it was made.
type Status struct {
	ID         int64     `db:"status_id"`
	Body       []byte    `db:"body"` // JSON
	SentTo     string    `db:"sent_to"`
	Reference  string    `db:"reference"`
	At         time.Time `db:"at"`
	NextDays   int       `db:"next_days"` // until the next
	RecordedAt time.Time `db:"recorded_at"`
	RecordedBy string    `db:"recorded_by"`
}
