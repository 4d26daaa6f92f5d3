package recall

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// Sample is which consignees are checked, and how they were drawn.
type Sample struct {
	ID         int64          `db:"sample_id"`
	Level      Level          `db:"level"`
	Share      string         `db:"share"` // of a hundred
	Seed       int64          `db:"seed"`
	Population pq.StringArray `db:"population"`
	Drawn      pq.StringArray `db:"drawn"`
	DrawnAt    time.Time      `db:"drawn_at"`
	DrawnBy    string         `db:"drawn_by"`
}

// Desk is everything that was recorded of a recall, each list in the order of
// recording.
type Desk struct {
	Letters   []Letter
	Texts     []Text
	Notices   []Notice
	Responses []Response
	Samples   []Sample
	Checks    []Check
	Statuses  []Status
}

// DeskOf reads it.
func DeskOf(ctx context.Context, tx *pg.Tx, id ID) (d Desk, err error) {
	for _, q := range []struct {
		into any
		text string
	}{
		{&d.Letters, `select letter_id, kind, says, reference, at, digest, recorded_at, recorded_by from recall_letter where plant_id = $1 and recall_id = $2 order by letter_id`},
		{&d.Texts, `select text_version, digest, written_at, written_by from recall_text where plant_id = $1 and recall_id = $2 order by text_version`},
		{&d.Notices, `select notice_id, consignee, text_version, method, whom, person, at, recorded_at, recorded_by from recall_notice
			where plant_id = $1 and recall_id = $2 order by notice_id`},
		{&d.Responses, `select response_id, consignee, shipment, lot_id, cast(on_hand as text) as on_hand, cast(returned as text) as returned,
			cast(destroyed as text) as destroyed, cast(sold_on as text) as sold_on, quantity_unit, person, at, recorded_at, recorded_by
			from recall_response where plant_id = $1 and recall_id = $2 order by response_id`},
		{&d.Samples, `select sample_id, level, cast(share as text) as share, seed, population, drawn, drawn_at, drawn_by from recall_sample
			where plant_id = $1 and recall_id = $2 order by sample_id`},
		{&d.Checks, `select check_id, consignee, notice_id, passed, method, person, note, at, recorded_at, recorded_by from recall_check
			where plant_id = $1 and recall_id = $2 order by check_id`},
		{&d.Statuses, `select status_id, body, sent_to, reference, at, next_days, recorded_at, recorded_by from recall_status
			where plant_id = $1 and recall_id = $2 order by status_id`},
	} {
		if err := tx.SelectContext(ctx, q.into, q.text, tx.Plant, id); err != nil {
			return d, fmt.Errorf("recall %d: %w", id, err)
		}
	}
	return d, nil
}

// AddLetter stores a letter.
func AddLetter(ctx context.Context, tx *pg.Tx, id ID, l Letter) error {
	return add(ctx, tx, "letter", `insert into recall_letter (plant_id, recall_id, recorded_at, recorded_by, kind, says, reference, at, digest)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, id, l.Kind, l.Says, l.Reference, l.At, l.Digest)
}

// AddText stores a version of what consignees are told.
func AddText(ctx context.Context, tx *pg.Tx, id ID, t Text) error {
	return add(ctx, tx, "text", `insert into recall_text (plant_id, recall_id, written_at, written_by, text_version, digest)
		values ($1, $2, $3, $4, $5, $6)`, id, t.Version, t.Digest)
}

// AddNotice stores that a consignee was told.
func AddNotice(ctx context.Context, tx *pg.Tx, id ID, n Notice) error {
	return add(ctx, tx, "notice", `insert into recall_notice (plant_id, recall_id, recorded_at, recorded_by, consignee, text_version, method, whom, person, at)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`, id, n.Consignee, n.Version, n.Method, n.Whom, n.Person, n.At)
}

// AddResponse stores a consignee's word.
func AddResponse(ctx context.Context, tx *pg.Tx, id ID, r Response) error {
	return add(ctx, tx, "response", `insert into recall_response (plant_id, recall_id, recorded_at, recorded_by, consignee, shipment, lot_id, on_hand, returned,
		destroyed, sold_on, quantity_unit, person, at)
		values ($1, $2, $3, $4, $5, $6, $7, cast($8 as numeric), cast($9 as numeric), cast($10 as numeric), cast($11 as numeric), $12, $13, $14)`,
		id, r.Consignee, r.Shipment, r.Lot, r.OnHand, r.Returned, r.Destroyed, r.SoldOn, r.Unit, r.Person, r.At)
}

// AddSample stores a drawing.
func AddSample(ctx context.Context, tx *pg.Tx, id ID, s Sample) error {
	return add(ctx, tx, "sample", `insert into recall_sample (plant_id, recall_id, drawn_at, drawn_by, level, share, seed, population, drawn)
		values ($1, $2, $3, $4, $5, cast($6 as numeric), $7, $8, $9)`, id, s.Level, s.Share, s.Seed, s.Population, s.Drawn)
}

// AddCheck stores an effectiveness check.
func AddCheck(ctx context.Context, tx *pg.Tx, id ID, c Check) error {
	return add(ctx, tx, "check", `insert into recall_check (plant_id, recall_id, recorded_at, recorded_by, consignee, notice_id, passed, method, person, note, at)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`, id, c.Consignee, c.Notice, c.Passed, c.Method, c.Person, c.Note, c.At)
}

// AddStatus stores a status report.
func AddStatus(ctx context.Context, tx *pg.Tx, id ID, s Status) error {
	return add(ctx, tx, "status report", `insert into recall_status (plant_id, recall_id, recorded_at, recorded_by, body, sent_to, reference, at, next_days)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, id, s.Body, s.SentTo, s.Reference, s.At, s.NextDays)
}

// add runs an insert whose first four values are the same in every table.
func add(ctx context.Context, tx *pg.Tx, what, text string, id ID, values ...any) error {
	if _, err := tx.ExecContext(ctx, text, append([]any{tx.Plant, id, tx.Now, tx.By.ID}, values...)...); err != nil {
		return fmt.Errorf("%s of recall %d: %w", what, id, err)
	}
	return nil
}
