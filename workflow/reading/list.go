package reading

import (
	"context"
	"fmt"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/pg"
)

// Kept is a reading as it is kept, at its place in a list.
type Kept struct {
	Reading
	Place Place
	// ShiftedAt is the true time of one that was taken by a clock of which it is
	// known by how much it was wrong; nil: as it was taken.
	ShiftedAt  *time.Time
	RecordedAt time.Time // when it came in
}

// Place is where a page of readings begins: after this time and key.
type Place struct {
	At     time.Time
	Source int64
}

// List returns readings of an instrument in (after, until], in order of time.
// The sender's own key is not kept, only its hash.
func List(ctx context.Context, tx *pg.Tx, instrument string, after Place, until time.Time, limit int) ([]Kept, error) {
	const q = `select r.taken_at, r.value, r.source_key, coalesce(l.code, '') as lot, c.limit_name, c.operator, c.unit, c.decimals,
		coalesce(loc.code, '') as location, b.received_at, (select r.taken_at - make_interval(secs => o.ahead_us / 1000000.0)
			from clock_offset o where o.plant_id = r.plant_id and o.instrument_id = r.instrument_id and o.ahead_us is not null
			and o.shown_from <= r.taken_at and r.taken_at < coalesce(o.shown_to, 'infinity')) as shifted_at
		from reading r join ingest_batch b using (plant_id, batch_id) join reading_context c using (plant_id, context_id)
		left join lot l on l.plant_id = r.plant_id and l.lot_id = r.lot_id
		left join location loc on loc.plant_id = r.plant_id and loc.location_id = c.location_id
		where r.plant_id = $1 and r.instrument_id = (select instrument_id from instrument where plant_id = $1 and code = $2)
		and (r.taken_at, r.source_key) > ($3, $4) and r.taken_at <= $5 order by r.taken_at, r.source_key limit $6`
	var rows []struct {
		At       time.Time `db:"taken_at"`
		Value    float64   `db:"value"`
		Source   int64     `db:"source_key"`
		Lot      string    `db:"lot"`
		Limit    string    `db:"limit_name"`
		Operator string    `db:"operator"`
		Unit     string    `db:"unit"`
		Decimals int8      `db:"decimals"`
		Location string    `db:"location"`

		Received time.Time  `db:"received_at"`
		Shifted  *time.Time `db:"shifted_at"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, instrument, after.At, after.Source, until, limit); err != nil {
		return nil, fmt.Errorf("readings: %w", err)
	}
	out := make([]Kept, len(rows))
	for i, r := range rows {
		out[i] = Kept{Reading{Instrument: instrument, TakenAt: r.At, Value: r.Value, Decimals: r.Decimals, Unit: unit.Scale(r.Unit[0]),
			Lot: r.Lot, Limit: r.Limit, Location: r.Location, TakenBy: r.Operator}, Place{r.At, r.Source}, r.Shifted, r.Received}
	}
	return out, nil
}
