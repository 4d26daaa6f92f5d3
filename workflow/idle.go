package workflow

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// A record stays when what it is about has gone: a disposition that was
// withdrawn, a hold that was lifted. It is kept to be read, and signed no more.

const idleRecords = `
select k.kind || ' ' || k.id from unnest($2::text[], $3::bigint[]) k (kind, id)
where k.kind in ('disposition', 'execution') and not exists (select from disposition d
    where d.plant_id = $1 and d.disposition_id = k.id and d.state in ('proposed', 'executed'))
  or k.kind = 'lift' and not exists (select from hold h where h.plant_id = $1 and h.hold_id = k.id and h.lifted_at is null)
  or k.kind = 'closing' and not exists (select from deviation d where d.plant_id = $1 and d.deviation_id = k.id and d.state = 'verifying')
  or k.kind = 'cancellation' and not exists (select from deviation d
    where d.plant_id = $1 and d.deviation_id = k.id and d.state in ('detected', 'contained', 'traced'))
  or k.kind = 'void' and exists (select from retest_void v join retest t using (plant_id, retest_id)
    where v.plant_id = $1 and v.void_id = k.id and (v.signed_at is not null or t.state = 'cancelled' or v.result_id is null and t.state = 'decided'
      or exists (select from retest_result n where n.plant_id = $1 and n.replaces = v.result_id)))
  or k.kind = 'return' and exists (select from instrument_return r join instrument i using (plant_id, instrument_id)
    where r.plant_id = $1 and r.return_id = k.id and i.state <> 'suspended')
  or k.kind = 'policy' and (k.id < (select max(draft_id) from policy_draft where plant_id = $1)
    or (select based_on_version from policy_draft where plant_id = $1 and draft_id = k.id)
      < (select max(policy_version) from policy_version where plant_id = $1))`

// alive leaves out the records that there is nothing left to sign of.
func alive(ctx context.Context, tx *pg.Tx, list []signoff.Record) ([]signoff.Record, error) {
	kinds, ids := make([]string, len(list)), make([]int64, len(list))
	for i, r := range list {
		kinds[i], ids[i] = string(r.Kind), r.ID
	}
	var idle []string
	if err := tx.SelectContext(ctx, &idle, idleRecords, tx.Plant, pq.Array(kinds), pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("records with nothing left to sign: %w", err)
	}
	return slices.DeleteFunc(list, func(r signoff.Record) bool { return slices.Contains(idle, fmt.Sprintf("%s %d", r.Kind, r.ID)) }), nil
}

// current leaves out the closings that are made of records of which one has changed
// since: they are asked for again.
func current(ctx context.Context, tx *pg.Tx, list []signoff.Record) ([]signoff.Record, error) {
	var out []signoff.Record
	for _, r := range list {
		if r.Kind == signoff.Closing {
			d, err := getDeviation(ctx, tx, DeviationID(r.Deviation), "")
			if err != nil {
				return nil, err
			}
			err = upToDate(ctx, tx, &d, r)
			if errors.Is(err, fault.Conflict) {
				continue
			}
			if err != nil {
				return nil, err
			}
		}
		out = append(out, r)
	}
	return out, nil
}
