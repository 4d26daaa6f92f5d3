package api

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"lastgood/api/exchange"
	"lastgood/api/packet"
	"lastgood/api/sheet"
	"lastgood/workflow"
	"lastgood/workflow/signoff"
)

// packetTable is a table of a packet: whole in a file of its own, and in the
// report.
type packetTable struct {
	sheet.Table
	title string
	notes []string
}

// file is where the table stands in the packet.
func (t packetTable) file() string {
	if t.Name == "readings" {
		return "readings.csv"
	}
	return "sections/" + t.Name + ".csv"
}

// correctedBy is how a reading is corrected, to be recomputed by hand.
var correctedBy = []string{
	"corrected = recorded − error_found; worst and best = recorded − the end of [error_low, error_high] that makes the limit harder or easier to meet.",
	"error_low and error_high are the bracket of the instrument's error at that temperature: the least and the largest error of the checks around the window, less and plus the expanded uncertainty U = k·√(max(u₀, u₁)² + u_use²). An error is indicated minus true.",
	"value and unit are as recorded; the columns after limit_unit are in the unit of the limit. Where the error is unknown there is no correction.",
}

// packetTables are the tables of a packet in the order in which an inspector
// reads: what it is, the instrument, the readings, the product, what was decided,
// and what was changed after its first entry.
func packetTables(ctx context.Context, p workflow.Packet) []packetTable {
	d := exchange.NewResult(p.Plant, p.Zone, []workflow.Report{p.Report}).Deviations[0]
	list := []packetTable{{summarySheet(p.Export, d), "Summary", nil}}
	list = appendSections(list, p, "checks", "events", "clock")
	list = append(list,
		packetTable{readingSheet(ctx, p.Export), "Readings as recorded and as corrected", correctedBy},
		packetTable{assessmentSheet(d), "Lots by limit: verdicts and routes", nil},
		packetTable{packetLots(p), "Lots in doubt", nil},
		packetTable{transformationSheet(p.Export), "Genealogy", nil},
		packetTable{shippedSheet(p.Export, d), "Product that has left", nil})
	for _, s := range p.Sections {
		list = appendSections(list, p, s.Name)
	}
	return append(list, afterFirstEntry(p), trailTable(p))
}

// packetLots is the lots in doubt with what was found of each, of those that were
// made of others too.
func packetLots(p workflow.Packet) sheet.Table {
	t := lotSheet(p.Export)
	found := map[string]string{}
	for _, f := range p.Findings {
		found[f.Lot] = string(f.Verdict)
	}
	lot, verdict, rows := slices.Index(t.Columns, "lot"), slices.Index(t.Columns, "verdict"), t.Rows
	t.Rows = func(yield func([]sheet.Cell, error) bool) {
		for row, err := range rows {
			if err == nil {
				row[verdict] = textCell(found[row[lot].(string)])
			}
			if !yield(row, err) {
				return
			}
		}
	}
	return t
}

// appendSections adds sections that are not there yet, by name.
func appendSections(list []packetTable, p workflow.Packet, names ...string) []packetTable {
	for _, name := range names {
		there := false
		for _, t := range list {
			there = there || t.Name == name
		}
		for _, s := range p.Sections {
			if s.Name == name && !there {
				list = append(list, sectionTable(s, p.Zone))
			}
		}
	}
	return list
}

func sectionTable(s workflow.PacketSection, zone *time.Location) packetTable {
	t := packetTable{sheet.Table{Name: s.Name, Columns: s.Columns, Rows: rowsOf(s.Rows, func(_ int, row []any) []sheet.Cell {
		cells := make([]sheet.Cell, len(row))
		for i, v := range row {
			cells[i] = sectionCell(v, zone)
		}
		return cells
	})}, s.Title, nil}
	if s.Note != "" {
		t.notes = []string{s.Note}
	}
	return t
}

func sectionCell(v any, zone *time.Location) sheet.Cell {
	switch v := v.(type) {
	case time.Time:
		return v.In(zone).Format(time.RFC3339Nano)
	case workflow.Decimal:
		return sheet.Decimal(v)
	}
	return v
}

// csv writes the table, with the names in it replaced where it is to be redacted.
func (t packetTable) csv(w io.Writer, redact *packet.Redactor) error {
	return sheet.CSV(w, t.redacted(redact))
}

// redacted replaces whole cells of the columns that have names. Names in other
// texts are replaced where they are written.
func (t packetTable) redacted(redact *packet.Redactor) sheet.Table {
	if redact == nil {
		return t.Table
	}
	out := t.Table
	out.Rows = func(yield func([]sheet.Cell, error) bool) {
		for row, err := range t.Rows {
			for i, c := range row {
				if s, ok := c.(string); ok && packet.Column(t.Columns[i]) {
					row[i] = redact.Token(s)
				}
			}
			if !yield(row, err) {
				return
			}
		}
	}
	return out
}

func packetRecord(r signoff.Record) packet.Record {
	out := packet.Record{Kind: string(r.Kind), ID: r.ID, Version: r.Version, SHA256: r.Digest, Body: r.Body, Run: r.Run, Policy: r.Policy,
		MadeAt: packet.Moment(r.MadeAt), MadeBy: r.MadeBy, Reason: r.Reason, Signatures: []packet.Signature{}}
	for _, s := range r.Signatures {
		out.Signatures = append(out.Signatures, packet.Signature{Person: s.Person, Name: s.Name, Title: s.Title, Role: string(s.Role), Meaning: s.Meaning,
			Qualification: s.Qualification, For: s.For, Note: s.Note, SignedAt: packet.Moment(s.SignedAt), AuthenticatedAt: packet.Moment(s.AuthenticatedAt)})
	}
	return out
}

// entrySays is what an entry of the trail says, for a table.
type entrySays struct {
	HappenedAt time.Time      `json:"happened_at"`
	RecordedAt time.Time      `json:"recorded_at"`
	Actor      string         `json:"actor"`
	Action     string         `json:"action"`
	Subject    string         `json:"subject"`
	Version    int            `json:"version"`
	Before     jsontext.Value `json:"before"`
	After      jsontext.Value `json:"after"`
	Reason     string         `json:"reason"`
	Cause      string         `json:"cause"`
}

func entryRows(p workflow.Packet, keep func(entrySays) bool, row func(workflow.PacketEntry, entrySays) []sheet.Cell) func(func([]sheet.Cell, error) bool) {
	return func(yield func([]sheet.Cell, error) bool) {
		for _, e := range p.Entries {
			var t entrySays
			err := json.Unmarshal(e.Body, &t)
			if err != nil {
				err = fmt.Errorf("trail %s entry %d: %w", e.Stream, e.Seq, err)
			} else if !keep(t) {
				continue
			}
			if !yield(row(e, t), err) || err != nil {
				return
			}
		}
	}
}

// afterFirstEntry lists what the trail says was changed after it was first entered.
func afterFirstEntry(p workflow.Packet) packetTable {
	rows := entryRows(p, func(t entrySays) bool { return len(t.Before) > 0 }, func(e workflow.PacketEntry, t entrySays) []sheet.Cell {
		return []sheet.Cell{e.Stream, e.Seq, t.RecordedAt.In(p.Zone).Format(time.RFC3339Nano), t.Actor, t.Action, t.Subject, string(t.Before), string(t.After), textCell(t.Reason)}
	})
	return packetTable{sheet.Table{Name: "changes", Columns: []string{"stream", "entry", "recorded_at", "done_by", "action", "subject", "before", "after", "reason"}, Rows: rows},
		"What changed after its first entry", []string{"Nothing is overwritten: what stood before stays in the trail."}}
}

// lateAfter is from when on an entry is called late (design notes on signing,
// E-032: fifteen minutes for what people enter).
const lateAfter = 15 * time.Minute

func trailTable(p workflow.Packet) packetTable {
	rows := entryRows(p, func(entrySays) bool { return true }, func(e workflow.PacketEntry, t entrySays) []sheet.Cell {
		leaf, late := sheet.Cell("no checkpoint yet"), ""
		if e.Leaf != nil {
			leaf = strconv.FormatInt(*e.Leaf, 10)
		}
		if t.RecordedAt.Sub(t.HappenedAt) > lateAfter {
			late = "late entry"
		}
		return []sheet.Cell{e.Stream, e.Seq, t.HappenedAt.In(p.Zone).Format(time.RFC3339Nano), t.RecordedAt.In(p.Zone).Format(time.RFC3339Nano), textCell(late),
			t.Actor, t.Action, t.Subject, textCell(t.Reason), textCell(t.Cause), leaf}
	})
	return packetTable{sheet.Table{Name: "trail", Columns: []string{"stream", "entry", "happened_at", "recorded_at", "late", "done_by", "action", "subject", "reason", "cause", "leaf"}, Rows: rows},
		"Decision trail", []string{"In entries.ndjson with the bytes that were hashed and their proofs."}}
}
