package correct

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// LineEvent is what happened at the control point after the failure.
type LineEvent struct {
	ID         int64          `db:"line_event_id"`
	Deviation  int64          `db:"deviation_id"`
	Event      string         `db:"event"` // stop, run_on_backup, restore
	At         time.Time      `db:"at"`
	Instrument *instrument.ID `db:"instrument_id"` // that it is read with from then on; nil: it stands
	Code       *string        `db:"code"`
	Check      *int64         `db:"check_id"`   // the last one, that it passed
	ReadingAt  *time.Time     `db:"reading_at"` // the good one
	Note       string         `db:"note"`
	RecordedAt time.Time      `db:"recorded_at"`
	By         string         `db:"recorded_by"`
	Papers     []Paper        `db:"-"`
}

// Line returns what happened at the control point of a deviation, in the order of
// recording.
func Line(ctx context.Context, tx *pg.Tx, deviation int64) ([]LineEvent, error) {
	var rows []LineEvent
	const q = `select e.line_event_id, e.deviation_id, e.event, e.at, e.instrument_id, i.code, e.check_id, e.reading_at, e.note, e.recorded_at, e.recorded_by
		from line_event e left join instrument i using (plant_id, instrument_id) where e.plant_id = $1 and e.deviation_id = $2 order by e.line_event_id`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("line: %w", err)
	}
	ids := make([]int64, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
	}
	papers, err := papersOf(ctx, tx, ofLine, ids)
	for i := range rows {
		rows[i].Papers = papers[rows[i].ID]
	}
	return rows, err
}

// AddLine stores one event and returns it.
func AddLine(ctx context.Context, tx *pg.Tx, e LineEvent) (LineEvent, error) {
	e.RecordedAt, e.By = tx.Now, tx.By.ID
	const add = `insert into line_event (plant_id, deviation_id, event, at, instrument_id, check_id, reading_at, note, recorded_at, recorded_by)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) returning line_event_id`
	err := tx.GetContext(ctx, &e.ID, add, tx.Plant, e.Deviation, e.Event, e.At, e.Instrument, e.Check, e.ReadingAt, e.Note, e.RecordedAt, e.By)
	if err != nil {
		return e, fmt.Errorf("line: %w", err)
	}
	return e, addPapers(ctx, tx, ofLine, e.ID, e.Papers)
}

// Read says what an instrument read at a time, if it did.
type Read struct {
	Value float64 `db:"value"`
	Unit  string  `db:"unit"`
	Limit string  `db:"limit_name"`
	Dec   int     `db:"decimals"`
}

// ReadAt returns what an instrument read at a time.
func ReadAt(ctx context.Context, tx *pg.Tx, id instrument.ID, at time.Time) (list []Read, err error) {
	const q = `select r.value, c.unit, c.limit_name, c.decimals from reading r join reading_context c using (plant_id, context_id)
		where r.plant_id = $1 and r.instrument_id = $2 and r.taken_at = $3 order by r.source_key`
	return list, tx.SelectContext(ctx, &list, q, tx.Plant, id, at)
}
