package workflow

import (
	"context"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/lib/pq"
	"golang.org/x/mod/sumdb/tlog"

	"lastgood/workflow/actor"
	"lastgood/workflow/correct"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
	"lastgood/workflow/trail/checkpoint"
)

// Packet is all that there is to show of a deviation, read in one moment.
type Packet struct {
	Export
	Checkpoint trail.Signed
	Entries    []PacketEntry // by stream and place
	Streams    []string      // of which Entries has all
	Records    []signoff.Record
	Runs       []Numbered // as they were stored
	Policies   []Numbered // versions that were used
	Evidence   []PacketEvidence
	Sections   []PacketSection
	Findings   []Finding // of every lot in doubt, derived ones too
	Portions   []PacketPortion
	Parts      map[correct.Part]correct.Written // of the corrective action
	Closing    *signoff.Record                  // nil: not put up for signing
	Names      []string                         // of people and consignees, and people's codes: what a redacted packet leaves out

	docket *docket
}

// PacketEntry is an entry of the trail with its place in the log.
type PacketEntry struct {
	trail.Stored
	Leaf   *int64 `db:"tree_index"` // nil: no checkpoint covers it
	Proof  tlog.RecordProof
	Person bool // a person made it
}

// Numbered is bytes with a number.
type Numbered struct {
	Number int    `db:"number"`
	Body   []byte `db:"body"`
}

// PacketEvidence is bytes that are kept.
type PacketEvidence struct {
	Digest    []byte `db:"digest"`
	MediaType string `db:"media_type"`
	Bytes     []byte `db:"bytes"`
}

// Packet returns all that there is to show of a deviation, under a checkpoint
// that covers all that was there when it was asked for. fault.Refused: the server
// signs nothing.
func (s *Service) Packet(ctx context.Context, sc pg.Scope, id DeviationID) (p Packet, err error) {
	if s.key == nil {
		return p, fault.New(fault.Refused, "no-key", "this server has no checkpoint key, and signs nothing")
	}
	if err := s.extendLog(ctx, sc.Plant); err != nil {
		return p, err
	}
	return ask(ctx, s, sc, func(tx *pg.Tx) (p Packet, err error) {
		if p.Export, err = export(ctx, tx, id, true); err != nil {
			return p, err
		}
		if p.Checkpoint, err = trail.Latest(ctx, tx); err != nil {
			return p, err
		}
		if p.Checkpoint.Key != s.key.String() { // signed by one before: the packet has one key
			c, err := checkpoint.Unchecked(p.Checkpoint.Note)
			if err != nil {
				return p, err
			}
			if p.Checkpoint.Note, err = c.Sign(s.key); err != nil {
				return p, err
			}
		}
		for _, step := range []func(context.Context, *pg.Tx) error{p.loadEntries, p.loadRecords, p.loadFiles, p.loadNames, p.loadSections, p.loadOpening, p.loadLedger} {
			if err := step(ctx, tx); err != nil {
				return p, fmt.Errorf("packet of deviation %d: %w", id, err)
			}
		}
		return p, nil
	})
}

// PacketMade notes that a packet was made and given out: which, by the digest of
// its manifest, and with what the names in it were salted.
func (s *Service) PacketMade(ctx context.Context, sc pg.Scope, id DeviationID, manifest, salt []byte) error {
	after := map[string]any{"manifest_sha256": manifest}
	if salt != nil {
		after["redacted_with"] = salt
	}
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		return trail.Append(ctx, tx, trail.Entry{Stream: administration, Action: "packet.made", Subject: Deviation{ID: id}.stream(), After: after})
	})
}

// streamsOf are the streams of which a packet has every entry: the deviation's,
// the instrument's, those of the cascades that the instrument is a part of, of
// holds that were placed by hand on lots in doubt, and of the uploads that its
// readings came in.
const streamsOf = `
select $3::text union select 'instrument/' || $4::text
union select 'cascade/' || cascade_id from cascade_window w join instrument i using (plant_id, instrument_id) where w.plant_id = $1 and i.code = $4
union select 'cascade/' || cascade_id from cascade c join instrument i using (plant_id, instrument_id) where c.plant_id = $1 and i.code = $4
union select 'hold/' || h.hold_id from hold h join portion p using (plant_id, portion_id) join deviation_lot d using (plant_id, lot_id)
  where h.plant_id = $1 and d.deviation_id = $2 and h.deviation_id is null and h.cascade_id is null
union select 'batch/' || b.batch_key from (select distinct r.batch_id from reading r
  where r.plant_id = $1 and r.instrument_id = (select instrument_id from instrument where plant_id = $1 and code = $4)
    and r.taken_at >= $5 and r.taken_at <= $6) r join ingest_batch b on b.plant_id = $1 and b.batch_id = r.batch_id`

// loadEntries reads the entries of these streams, and of the administration's
// those that put a policy in force or let the log go on from an older state.
func (p *Packet) loadEntries(ctx context.Context, tx *pg.Tx) error {
	e := p.evidence
	err := tx.SelectContext(ctx, &p.Streams, `select * from (`+streamsOf+`) x(stream) where exists (select from trail_entry t
		where t.plant_id = $1 and t.stream = x.stream) order by stream collate "C"`,
		tx.Plant, p.Deviation.ID, p.Deviation.stream(), e.in.Code, e.since, e.upto)
	if err != nil {
		return err
	}
	const entries = `select stream, seq, prev_hash, hash, body, tree_index from trail_entry left join trail_leaf using (plant_id, entry_id)
		where plant_id = $1 and (stream = any($2) or stream = 'administration'
			and convert_from(body, 'UTF8')::jsonb ->> 'action' in ('policy.put_in_force', 'log.restored'))
		order by stream collate "C", seq`
	if err := tx.SelectContext(ctx, &p.Entries, entries, tx.Plant, pq.Array(p.Streams)); err != nil {
		return err
	}
	var leaves []int64
	var of []*PacketEntry
	for i := range p.Entries {
		e := &p.Entries[i]
		var said struct {
			Kind actor.Kind `json:"kind"`
		}
		if err := json.Unmarshal(e.Body, &said); err != nil {
			return fmt.Errorf("trail %s entry %d: %w", e.Stream, e.Seq, err)
		}
		e.Person = said.Kind == actor.Person
		if e.Leaf != nil && *e.Leaf >= p.Checkpoint.Size {
			e.Leaf = nil
		}
		if e.Leaf != nil {
			leaves, of = append(leaves, *e.Leaf), append(of, e)
		}
	}
	proofs, err := trail.Inclusions(ctx, tx, leaves, p.Checkpoint.Size)
	for i := range proofs {
		of[i].Proof = proofs[i]
	}
	return err
}

// loadRecords reads every version of everything that is signed of the deviation.
func (p *Packet) loadRecords(ctx context.Context, tx *pg.Tx) error {
	newest, err := signoff.Of(ctx, tx, int64(p.Deviation.ID))
	if err != nil {
		return err
	}
	for _, r := range newest {
		all, err := signoff.Versions(ctx, tx, r.Kind, r.ID)
		if err != nil {
			return err
		}
		p.Records = append(p.Records, all...)
	}
	return nil
}

// loadFiles reads the runs, the policies that they and the records rest on, and
// the evidence.
func (p *Packet) loadFiles(ctx context.Context, tx *pg.Tx) error {
	const runs = `select run_number as number, body from trace_run where plant_id = $1 and deviation_id = $2 order by run_number`
	if err := tx.SelectContext(ctx, &p.Runs, runs, tx.Plant, p.Deviation.ID); err != nil {
		return err
	}
	const policies = `select policy_version as number, body from policy_version where plant_id = $1 and policy_version in (
		select policy_version from trace_run where plant_id = $1 and deviation_id = $2
		union select policy_version from signed_record where plant_id = $1 and deviation_id = $2
		union select policy_version from deviation where plant_id = $1 and deviation_id = $2) order by policy_version`
	if err := tx.SelectContext(ctx, &p.Policies, policies, tx.Plant, p.Deviation.ID); err != nil {
		return err
	}
	const papers = `select digest, media_type, bytes from evidence where plant_id = $1 and digest in (` + papersOf + `) order by digest`
	return tx.SelectContext(ctx, &p.Evidence, papers, tx.Plant, p.Deviation.ID)
}

// papersOf are the digests of the papers of a deviation. Whatever keeps papers of
// its own adds a line.
const papersOf = `
select digest from attached_evidence where plant_id = $1 and deviation_id = $2
union select s.digest from statement_paper s join correction_part c on c.plant_id = s.plant_id and c.part_id = s.of_id
  where s.kind = 'part' and c.plant_id = $1 and c.deviation_id = $2
union select s.digest from statement_paper s join correction_effect e on e.plant_id = s.plant_id and e.effect_id = s.of_id
  join correction_part c on c.plant_id = e.plant_id and c.part_id = e.part_id where s.kind = 'effect' and c.plant_id = $1 and c.deviation_id = $2
union select s.digest from statement_paper s join line_event l on l.plant_id = s.plant_id and l.line_event_id = s.of_id
  where s.kind = 'line' and l.plant_id = $1 and l.deviation_id = $2
union select m.digest from notification_message m join notification n using (plant_id, notification_id) where n.plant_id = $1 and n.deviation_id = $2
union select t.digest from recall_text t join recall r using (plant_id, recall_id) where r.plant_id = $1 and r.deviation_id = $2
union select l.digest from recall_letter l join recall r using (plant_id, recall_id) where r.plant_id = $1 and r.deviation_id = $2`

// loadNames reads who is named anywhere: people of the plant, whoever acted or
// checked, and to whom product of a lot in doubt went.
func (p *Packet) loadNames(ctx context.Context, tx *pg.Tx) error {
	const names = `select distinct n from (
		select code from person where plant_id = $1 union select name from person where plant_id = $1
		union select printed_name from signature where plant_id = $1 union select person from signature where plant_id = $1
		union select consignee from shipment where plant_id = $1
		union select receiver from disposition where plant_id = $1
		union select performed_by from accuracy_check c join instrument i using (plant_id, instrument_id) where c.plant_id = $1 and i.code = $2
		union select verified_by from accuracy_check c join instrument i using (plant_id, instrument_id) where c.plant_id = $1 and i.code = $2
		union select operator from reading_context where plant_id = $1
		) x(n) where n <> '' order by n`
	if err := tx.SelectContext(ctx, &p.Names, names, tx.Plant, p.evidence.in.Code); err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, n := range p.Names {
		seen[n] = true
	}
	for _, e := range p.Entries {
		var said struct {
			Actor string `json:"actor"`
		}
		if e.Person && json.Unmarshal(e.Body, &said) == nil && !seen[said.Actor] {
			seen[said.Actor] = true
			p.Names = append(p.Names, said.Actor)
		}
	}
	return nil
}

// LastSeq returns how many entries of a stream there are.
func (p Packet) LastSeq(stream string) (n int64) {
	for _, e := range p.Entries {
		if e.Stream == stream {
			n = max(n, e.Seq)
		}
	}
	return n
}

// When renders a time where the plant is.
func (p Packet) When(t time.Time) string { return t.In(p.Zone).Format("2006-01-02 15:04:05 -07:00") }
