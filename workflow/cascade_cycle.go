package workflow

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// A check is worth what its reference was worth at that moment, and that hangs
// on the reference's own last good check then, and so on back in time. Where the
// way back leads to the instrument that is being checked, two instruments vouch
// for each other and nobody vouches for both: the check is refused. The way ends
// where the outside vouches: at a certificate valid then, an ice or boiling point,
// or a reference that is not among the instruments. Only the way back in time
// counts: two instruments that were each other's reference in different years,
// with other good checks between, are no cycle; and a check that becomes known
// late does not make those after it refused.

// refuseCycles refuses the new checks whose reference hangs on the instrument
// itself. They are stored already, so that they count for each other.
func refuseCycles(ctx context.Context, tx *pg.Tx, sent []instrument.Check, fresh []instrument.Judged) error {
	hang, err := hanging(ctx, tx)
	if err != nil {
		return err
	}
	var bad fault.Rows
	for _, j := range fresh {
		for n, id := range j.References {
			if id == nil || !hang[*id] || n > 0 && j.References[n-1] != nil && *j.References[n-1] == *id {
				continue
			}
			way, err := wayBack(ctx, tx, *id, j.Instrument.ID, j.PerformedAt, nil)
			if err != nil {
				return fmt.Errorf("references of %s: %w", j.Instrument.Code, err)
			}
			if way == nil {
				continue
			}
			i := slices.IndexFunc(sent, func(c instrument.Check) bool {
				return c.Instrument == j.Instrument.Code && c.PerformedAt.Equal(j.PerformedAt)
			})
			bad.AddPart(i, n, fault.New(fault.Invalid, "reference-cycle", "%s would vouch for itself: %s hangs on %s; check it against something that does not hang on it",
				j.Instrument.Code, way[0], strings.Join(way[1:], ", that on ")).In("reference"))
		}
	}
	if len(bad) > 0 {
		return &HappeningFaults{Checks: bad}
	}
	return nil
}

// hanging returns the instruments that were ever checked against another: most
// references were not, and there is no way back from them.
func hanging(ctx context.Context, tx *pg.Tx) (map[instrument.ID]bool, error) {
	const q = `select distinct c.instrument_id from check_point p join accuracy_check c using (plant_id, check_id)
		where p.plant_id = $1 and p.reference_id is not null`
	return idSet(ctx, tx, q)
}

// idSet reads a set of instruments.
func idSet(ctx context.Context, tx *pg.Tx, q string) (map[instrument.ID]bool, error) {
	var ids []instrument.ID
	if err := tx.SelectContext(ctx, &ids, q, tx.Plant); err != nil {
		return nil, fmt.Errorf("references: %w", err)
	}
	m := map[instrument.ID]bool{}
	for _, id := range ids {
		m[id] = true
	}
	return m, nil
}

// vouching: against what the last good check of an instrument until a time was
// made, if no certificate of it was valid then.
const vouching = `
with last as (
  select check_id, performed_at from accuracy_check c
  where c.plant_id = $1 and c.instrument_id = $2 and c.performed_at <= $3 and c.left_verdict = 'pass' and not c.unusable
    and not c.left_unknown and not exists (select from certificate k where k.plant_id = $1 and k.instrument_id = $2
      and k.issued_at <= $3 and k.valid_until >= $3)
  order by performed_at desc limit 1)
select distinct r.instrument_id, r.code, last.performed_at from last
join check_point p on p.plant_id = $1 and p.check_id = last.check_id
join instrument r on r.plant_id = $1 and r.instrument_id = p.reference_id order by r.code`

// wayBack returns the way from a reference to an instrument that its worth at a
// time hangs on, in words; nil if it does not. seen holds the references on the
// way, which are not visited twice.
func wayBack(ctx context.Context, tx *pg.Tx, reference, to instrument.ID, at time.Time, seen []instrument.ID) ([]string, error) {
	var rows []struct {
		ID   instrument.ID `db:"instrument_id"`
		Code string        `db:"code"`
		At   time.Time     `db:"performed_at"`
	}
	if err := tx.SelectContext(ctx, &rows, vouching, tx.Plant, reference, at); err != nil {
		return nil, err
	}
	seen = append(seen, reference)
	for _, r := range rows {
		if r.ID != to && slices.Contains(seen, r.ID) {
			continue
		}
		in, err := instrument.Get(ctx, tx, reference)
		if err != nil {
			return nil, err
		}
		here := fmt.Sprintf("%s (checked %s)", in.Code, r.At.UTC().Format(time.RFC3339))
		if r.ID == to {
			return []string{here, r.Code}, nil
		}
		if rest, err := wayBack(ctx, tx, r.ID, to, r.At, seen); err != nil || rest != nil {
			return append([]string{here}, rest...), err
		}
	}
	return nil, nil
}
