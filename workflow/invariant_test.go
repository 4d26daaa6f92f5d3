package workflow

import (
	"errors"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// checkAll looks at what every story must leave behind, whatever happened in it.
func (s *site) checkAll() {
	s.Helper()
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) error {
		if _, err := trail.Verify(s.ctx, tx); err != nil {
			s.Errorf("%v", err)
		}
		var list []Deviation
		if err := tx.SelectContext(s.ctx, &list, `select `+deviationColumns+` from deviation where plant_id = $1`, tx.Plant); err != nil {
			return err
		}
		for _, d := range list {
			s.stateFollowsFromTrail(tx, d)
			s.suspectsAreHeld(tx, d)
		}
		s.cascadesHold(tx)
		return s.portionsAgreeWithHolds(tx)
	}))
}

// cascadesHold: what a cascade that pends would put in doubt, and is in control,
// is held, if nothing newer than its preview is known.
func (s *site) cascadesHold(tx *pg.Tx) {
	s.Helper()
	list, err := pendingCascades(s.ctx, tx)
	s.must(err)
	for _, c := range list {
		if c.RefreshDue != nil {
			continue
		}
		var held []string
		s.must(tx.SelectContext(s.ctx, &held, `select l.code from hold h join portion p using (plant_id, portion_id)
			join lot l using (plant_id, lot_id) where h.plant_id = $1 and h.lifted_at is null`, tx.Plant))
		f, err := c.Tree()
		s.must(err)
		var each func([]ForeseenInstrument)
		each = func(list []ForeseenInstrument) {
			for _, in := range list {
				for _, w := range in.Windows {
					for _, l := range w.Lots {
						if l.InControl && !slices.Contains(held, l.Lot) {
							s.Errorf("cascade %d puts lot %s in doubt, which is in control and not held", c.ID, l.Lot)
						}
					}
				}
				each(in.Below)
			}
		}
		each(f.Below)
	}
}

// stateFollowsFromTrail replays what the trail says happened through the
// procedure.
func (s *site) stateFollowsFromTrail(tx *pg.Tx, d Deviation) {
	s.Helper()
	var bodies [][]byte
	s.must(tx.SelectContext(s.ctx, &bodies, `select body from trail_entry where plant_id = $1 and stream = $2 order by seq`, tx.Plant, d.stream()))
	var at State
	for _, b := range bodies {
		var r trail.Record
		s.must(json.Unmarshal(b, &r))
		event, ok := strings.CutPrefix(r.Action, "deviation.")
		switch {
		case !ok:
		case event == "opened":
			at = Detected
		default:
			step, ok := deviationTrack.find(at, Event(event))
			if !ok || r.Before != string(at) || r.After != string(step.To) {
				s.Errorf("%s entry %d: %s from %v to %v is no step from %s", r.Stream, r.Seq, event, r.Before, r.After, at)
			}
			at = step.To
		}
	}
	if at != d.State {
		s.Errorf("deviation %d is %s, its trail leads to %s", d.ID, d.State, at)
	}
}

// suspectsAreHeld: what is in doubt and in control is held, with everything made
// of it, if the deviation is not due for another run; nothing else is held.
func (s *site) suspectsAreHeld(tx *pg.Tx, d Deviation) {
	s.Helper()
	var suspect []lot.ID
	s.must(tx.SelectContext(s.ctx, &suspect, `select lot_id from deviation_lot where plant_id = $1 and deviation_id = $2`, tx.Plant, d.ID))
	list, err := hold.Of(s.ctx, tx, int64(d.ID))
	s.must(err)
	held := map[lot.ID]bool{}
	for _, h := range list {
		held[h.Lot] = true
		if !slices.Contains(suspect, h.Lot) {
			s.Errorf("deviation %d holds lot %s, which it does not doubt", d.ID, h.LotCode)
		}
	}
	all := suspect
	if d.RetraceDue == nil {
		_, all, err = lot.Descendants(s.ctx, tx, suspect)
		s.must(err)
	}
	where, err := lot.Positions(s.ctx, tx, all)
	s.must(err)
	let := s.letGo(tx, d)
	for _, id := range all {
		if where[id].InControl && !held[id] && !let[id] {
			s.Errorf("lot %d is in doubt by deviation %d, in control and not held", id, d.ID)
		}
	}
}

// letGo returns the lots of which every hold of a deviation was lifted, each with
// a reason: by a disposition that everyone signed, by QA, or because the check was
// no check.
func (s *site) letGo(tx *pg.Tx, d Deviation) map[lot.ID]bool {
	s.Helper()
	var rows []struct {
		Lot    lot.ID `db:"lot_id"`
		Reason string `db:"lift_reason"`
	}
	s.must(tx.SelectContext(s.ctx, &rows, `select p.lot_id, coalesce(h.lift_reason, '') as lift_reason from hold h join portion p using (plant_id, portion_id)
		where h.plant_id = $1 and h.deviation_id = $2 and h.lifted_at is not null`, tx.Plant, d.ID))
	out := map[lot.ID]bool{}
	for _, r := range rows {
		if r.Reason == "" {
			s.Errorf("a hold on lot %d was lifted without a reason", r.Lot)
		}
		out[r.Lot] = true
	}
	return out
}

// portionsAgreeWithHolds: what is held, under test or decided on is under a hold
// that stands; nothing else is.
func (s *site) portionsAgreeWithHolds(tx *pg.Tx) error {
	s.Helper()
	var odd []string
	const q = `select l.code || ' ' || p.state from portion p join lot l using (plant_id, lot_id)
		where p.plant_id = $1 and p.place <> 'shipped' and (p.state in ('on_hold', 'under_test', 'decided')) <> exists (
			select from hold h where h.plant_id = p.plant_id and h.portion_id = p.portion_id and h.lifted_at is null)`
	err := tx.SelectContext(s.ctx, &odd, q, tx.Plant)
	if len(odd) > 0 {
		s.Errorf("portions whose state is not that of their holds: %v", odd)
	}
	return err
}

// held returns the codes of the lots that a deviation holds, sorted.
func (s *site) held(d Deviation) []string {
	s.Helper()
	codes := []string{}
	s.query(&codes, `select l.code from hold h join portion p using (plant_id, portion_id) join lot l using (plant_id, lot_id)
		where h.deviation_id = $1 and h.lifted_at is null order by 1`, d.ID)
	return codes
}

// holds fails unless a deviation holds exactly these lots.
func (s *site) holds(d Deviation, want ...string) {
	s.Helper()
	slices.Sort(want)
	if got := s.held(d); !slices.Equal(got, want) {
		s.Errorf("deviation %d holds %v, want %v", d.ID, got, want)
	}
}

// is fails unless a deviation is in a state, and due for another run or not.
func (s *site) is(d Deviation, state State, due bool) Deviation {
	s.Helper()
	got := s.now(d)
	if got.State != state || (got.RetraceDue != nil) != due {
		s.Errorf("deviation %d is %s, due for another run: %v; want %s, %v", d.ID, got.State, got.RetraceDue != nil, state, due)
	}
	return got
}

// everything counts the rows of every table that the plant's commands write.
func (s *site) everything() string {
	s.Helper()
	var n []string
	s.query(&n, `select string_agg(t || ' ' || n, ', ' order by t) from (
		select 'trail' t, count(*) n from trail_entry union all select 'check', count(*) from accuracy_check
		union all select 'event', count(*) from instrument_event union all select 'deviation', count(*) from deviation
		union all select 'hold', count(*) from hold union all select 'reading', count(*) from reading
		union all select 'batch', count(*) from ingest_batch union all select 'lot', count(*) from lot
		union all select 'edge', count(*) from transformation union all select 'shipment', count(*) from shipment
		union all select 'stay', count(*) from stay union all select 'run', count(*) from trace_run
		union all select 'asked', count(*) from idempotency) x`)
	return n[0]
}

func asHappeningFaults(err error, to **HappeningFaults) bool { return errors.As(err, to) }
