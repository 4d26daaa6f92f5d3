package workflow

import (
	"context"
	"strings"

	"lastgood/workflow/pg"
)

// recallSections are those of the recall, from what was decided to its end.
var recallSections = []packetSection{
	{"recall_pack", "Recall: what was decided, and why", "", `
select r.state, p ->> 'retrieve' as retrieve, p ->> 'reason' as reason, p ->> 'kind' as kind, p ->> 'depth' as depth, p ->> 'public_warning' as public_warning,
  p ->> 'discovery' as discovery, h ->> 'illness' as illness, h ->> 'conditions' as conditions, h ->> 'groups' as groups, h ->> 'seriousness' as seriousness,
  h ->> 'likelihood' as likelihood, h ->> 'consequences' as consequences, p ->> 'effectiveness_level' as effectiveness_level,
  p ->> 'effectiveness_share' as effectiveness_share, p ->> 'rationale' as rationale, p ->> 'contact' as contact, p ->> 'text' as text, r.decided_at, r.opened_at, r.opened_by
from (select *, nullif(convert_from(pack, 'UTF8'), '')::jsonb as p from recall) r cross join lateral (select p -> 'hazard_evaluation') x(h)
where r.plant_id = $1 and r.deviation_id = $2`},
	{"recall", "Recall: notices to consignees", "", `
select n.consignee, n.at, n.method, n.whom as who, n.person, n.text_version, r.state, n.recorded_at, n.recorded_by
from recall r left join recall_notice n using (plant_id, recall_id) where r.plant_id = $1 and r.deviation_id = $2 order by n.notice_id`},
	{"recall_answers", "Recall: what consignees answered", "The latest word counts.", `
select a.consignee, l.code as lot, a.shipment, a.on_hand, a.returned, a.destroyed, a.sold_on, a.quantity_unit, a.person, a.at, a.recorded_at, a.recorded_by
from recall r join recall_response a using (plant_id, recall_id) join lot l using (plant_id, lot_id) where r.plant_id = $1 and r.deviation_id = $2 order by a.response_id`},
	{"recall_samples", "Recall: who was drawn to be checked", "", `
select s.drawn_at, s.drawn_by, s.level, s.share, s.seed, array_to_string(s.population, '; ') as consignee_list, array_to_string(s.drawn, '; ') as drawn_list
from recall r join recall_sample s using (plant_id, recall_id) where r.plant_id = $1 and r.deviation_id = $2 order by s.sample_id`},
	{"recall_checks", "Recall: effectiveness checks", "", `
select c.consignee, c.at, c.passed, c.method, c.person, c.note, c.notice_id, c.recorded_at, c.recorded_by
from recall r join recall_check c using (plant_id, recall_id) where r.plant_id = $1 and r.deviation_id = $2 order by c.check_id`},
	{"recall_class", "Recall: class, as told by the agency", "The firm gives no class.", lettersOf + `= 'class' order by t.letter_id`},
	{"recall_reports", "Recall: status reports", "", `
select s.at, s.sent_to as who, s.reference, s.next_days, convert_from(s.body, 'UTF8') as counts, s.recorded_at, s.recorded_by
from recall r join recall_status s using (plant_id, recall_id) where r.plant_id = $1 and r.deviation_id = $2 order by s.status_id`},
	{"recall_end", "Recall: the request to end it, and the reply", "", lettersOf + `<> 'class' order by t.letter_id`},
}

const lettersOf = `
select t.at, t.kind, t.says, t.reference, t.recorded_at, t.recorded_by, encode(t.digest, 'hex') as text_sha256
from recall r join recall_letter t using (plant_id, recall_id) where r.plant_id = $1 and r.deviation_id = $2 and t.kind `

// loadLedger adds the consignee ledger, which stands before any recall: what was
// sent to whom, what they say, and what was carried out.
func (p *Packet) loadLedger(ctx context.Context, tx *pg.Tx) error {
	k, err := recallOf(ctx, tx, p.docket)
	if err != nil {
		return err
	}
	if k == nil {
		k = &desk{c: p.docket}
	}
	out := PacketSection{Name: "recall_ledger", Title: "Recall: consignee ledger", Note: "Retrieved and not to be recovered: as it was carried out.",
		Columns: []string{"consignee", "lot", "shipment", "verdict", "quantity", "quantity_unit", "shipped_at", "told_at", "answered_at", "check_passed",
			"decided", "retrieved", "unrecoverable", "differences"}}
	for _, c := range k.consignments() {
		row := []any{c.Consignee, c.Lot, c.Shipment, string(c.Verdict), nil, nil, c.ShippedAt, nil, nil, nil, c.Is, Decimal(c.Retrieved), Decimal(c.Unrecoverable), strings.Join(c.Differences, "; ")}
		if c.Quantity != nil && c.Unit != nil {
			row[4], row[5] = Decimal(*c.Quantity), *c.Unit
		}
		if c.Notice != nil {
			row[7] = c.Notice.At
		}
		if c.Said != nil {
			row[8] = c.Said.At
		}
		if c.Check != nil {
			row[9] = c.Check.Passed
		}
		out.Rows = append(out.Rows, row)
	}
	p.Sections = append(p.Sections, out)
	return nil
}
