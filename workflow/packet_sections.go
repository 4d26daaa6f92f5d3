package workflow

import (
	"context"
	"fmt"
	"slices"
	"time"

	"lastgood/workflow/pg"
)

// PacketSection is one table of a packet's report.
type PacketSection struct {
	Name    string // of its file
	Title   string
	Note    string // what stands above the table
	Columns []string
	// Rows have nil, string, bool, int64, float64, time.Time or Decimal.
	Rows [][]any
}

// Decimal is a number with as many digits as somebody gave.
type Decimal string

// packetSection is a section as its owner declares it: a question of which $1 is
// the plant and $2 the deviation. The names of its columns are those of the
// answer; names of people and consignees stand in columns that packet.Column
// knows, so that a redacted packet can leave them out.
type packetSection struct {
	name, title, note, ask string
}

const ofInstrument = ` join deviation d using (plant_id, instrument_id) where d.plant_id = $1 and d.deviation_id = $2`

// packetSections are the sections that come out of the tables, in the order in
// which the trade works. Whoever adds a table that a deviation is told by adds a
// row.
var packetSections = []packetSection{
	{"checks", "History of the instrument: checks", "Temperatures are in the unit beside them, as they were entered; reference_u is in kelvin.", `
select c.performed_at, c.performed_by, c.verified_by, c.found_verdict, c.left_verdict, c.unusable, p.kind as point, p.unit,
  p.true_temperature::float8 / 1e6 as true_temperature, p.found::float8 / 1e6 as found, p.as_left::float8 / 1e6 as as_left, p.reference_u, p.basis, c.policy_version, c.recorded_at, c.recorded_by
from accuracy_check c left join check_point p using (plant_id, check_id)` + ofInstrument + ` order by c.performed_at, c.check_id, p.ordinal`},
	{"events", "History of the instrument: what happened to it", "", `
select e.at, e.kind, e.note, e.recorded_at, e.recorded_by from instrument_event e` + ofInstrument + ` order by e.at, e.event_id`},
	{"clock", "History of the instrument: its clock", "Seconds by which it was ahead, and within which that is known.", `
select o.shown_from, o.shown_to, o.ahead_us / 1e6 as ahead_s, o.bound_us / 1e6 as bound_s, o.note, o.recorded_at, o.recorded_by from clock_offset o` + ofInstrument + ` order by o.shown_from`},
	{"quarantined", "Readings that were not believed", "Stored as they came, and gaps until somebody decides.", `
select q.taken_at, q.value, c.unit, l.code as lot, c.limit_name, q.rule, q.reason, q.recorded_at from reading_quarantine q
join deviation d using (plant_id, instrument_id) join reading_context c using (plant_id, context_id) left join lot l using (plant_id, lot_id)
where d.plant_id = $1 and d.deviation_id = $2 order by q.taken_at, q.source_key limit 10000`},
	{"holds", "Holds", "All that were placed, those that were lifted too.", `
select h.hold_id, l.code as lot, p.label as portion, b.code as because_of, h.quantity, h.quantity_unit, h.placed_at, h.placed_by,
  h.acknowledged_at, h.acknowledged_by, h.counted_quantity, h.moved_at, h.lifted_at, h.lifted_by, h.lift_reason as reason
from hold h join portion p using (plant_id, portion_id) join lot l using (plant_id, lot_id)
left join lot b on b.plant_id = h.plant_id and b.lot_id = h.because_of_lot_id where h.plant_id = $1 and h.deviation_id = $2 order by h.hold_id`},
	{"retests", "Re-tests", "", `
select t.retest_id, l.code as lot, p.label as portion, t.state, convert_from(t.terms, 'UTF8') as terms, t.ordered_at, t.ordered_by
from retest t join portion p using (plant_id, portion_id) join lot l using (plant_id, lot_id) where t.plant_id = $1 and t.deviation_id = $2 order by t.retest_id`},
	{"results", "Results of re-tests", "Replaced and voided results stay.", `
select r.retest_id, r.result_id, r.sample, r.bound, r.value, r.unit, r.method, r.laboratory, r.report, r.tested_at, r.replaces, r.reason
from retest_result r join retest t using (plant_id, retest_id) where r.plant_id = $1 and t.deviation_id = $2 order by r.result_id`},
	{"dispositions", "Dispositions", "", `
select x.disposition_id, l.code as lot, p.label as portion, x.kind, x.state, x.reason, x.receiver, x.into_lot, x.because, x.proposed_at, x.proposed_by, x.ended_because
from disposition x join portion p using (plant_id, portion_id) join lot l using (plant_id, lot_id) where x.plant_id = $1 and x.deviation_id = $2 order by x.disposition_id`},
	{"executions", "What was carried out", "", `
select e.disposition_id, l.code as lot, p.label as portion, e.fate, e.quantity, e.quantity_unit, e.at, e.place, e.tag, e.reason, e.reported_at, e.reported_by
from execution e join disposition x using (plant_id, disposition_id) join portion p using (plant_id, portion_id) join lot l using (plant_id, lot_id)
where e.plant_id = $1 and x.deviation_id = $2 order by e.execution_id`},
	{"signatures", "Signatures", "Of every version of everything that was signed; outdated ones stay.", `
select s.signed_at, s.printed_name, s.title, s.person, s.role, s.meaning, array_to_string(s.acts_for, ', ') as acts_for, s.kind as record, s.record_id, s.version,
  encode(r.digest, 'hex') as record_sha256, s.qualification, s.note from signature s join signed_record r using (plant_id, kind, record_id, version)
where s.plant_id = $1 and r.deviation_id = $2 order by s.signature_id`},
	{"evidence", "Evidence", "The bytes are in the packet under their digest.", `
select a.attached_at, a.attached_by, l.code as lot, a.kind, a.name, a.note, encode(a.digest, 'hex') as sha256 from attached_evidence a join lot l using (plant_id, lot_id)
where a.plant_id = $1 and a.deviation_id = $2 order by a.attached_id`},
	{"corrections", "Corrective action", "", `
select c.part, c.wording, c.open, c.statement, c.same_as, c.effective_by, c.written_at, c.written_by from correction_part c
where c.plant_id = $1 and c.deviation_id = $2 order by c.part_id`},
	{"effects", "Whether corrective action works", "", `
select c.part, e.effective, e.wording, e.looked_at, e.written_at, e.written_by from correction_effect e join correction_part c using (plant_id, part_id)
where c.plant_id = $1 and c.deviation_id = $2 order by e.effect_id`},
	{"line", "The critical control point back in control", "", `
select e.event, e.at, i.code as instrument, e.reading_at, e.note, e.recorded_at, e.recorded_by from line_event e
left join instrument i using (plant_id, instrument_id) where e.plant_id = $1 and e.deviation_id = $2 order by e.line_event_id`},
	{"reanalysis", "Reanalysis of the plan", "", `
select outcome, plan_changes, plan_version, written_at, written_by from reanalysis where plant_id = $1 and deviation_id = $2 order by reanalysis_id`},
	{"notices", "Notices to authorities", "", `
select n.authority, n.state, n.clock_from, m.kind, m.at, m.whom as who, m.method, m.person, m.reference, m.recorded_at, m.recorded_by
from notification n left join notification_message m using (plant_id, notification_id) where n.plant_id = $1 and n.deviation_id = $2
order by n.notification_id, m.message_id`},
}

// loadSections asks the sections.
func (p *Packet) loadSections(ctx context.Context, tx *pg.Tx) error {
	for _, s := range slices.Concat(packetSections, recallSections) {
		out := PacketSection{Name: s.name, Title: s.title, Note: s.note}
		rows, err := tx.QueryxContext(ctx, s.ask, tx.Plant, p.Deviation.ID)
		if err != nil {
			return fmt.Errorf("section %s: %w", s.name, err)
		}
		if out.Columns, err = rows.Columns(); err == nil {
			for err == nil && rows.Next() {
				var row []any
				if row, err = rows.SliceScan(); err == nil {
					out.Rows = append(out.Rows, asValues(row))
				}
			}
			if err == nil {
				err = rows.Err()
			}
		}
		rows.Close()
		if err != nil {
			return fmt.Errorf("section %s: %w", s.name, err)
		}
		p.Sections = append(p.Sections, out)
	}
	return nil
}

// asValues turns what the driver returns for a row into values of PacketSection.
// Numerics come as bytes; texts do not.
func asValues(row []any) []any {
	for i, v := range row {
		switch v := v.(type) {
		case []byte:
			row[i] = Decimal(v)
		case time.Time:
			row[i] = v.UTC()
		}
	}
	return row
}
