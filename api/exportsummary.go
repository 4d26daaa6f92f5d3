package api

import (
	"encoding/hex"
	"fmt"
	"time"

	"lastgood/api/exchange"
	"lastgood/api/sheet"
	"lastgood/workflow"
)

// summary is the sheet of what is said once, by the paths of the JSON answer.
type summary struct {
	zone *time.Location
	rows [][2]sheet.Cell
}

func (s *summary) add(field string, value sheet.Cell) {
	s.rows = append(s.rows, [2]sheet.Cell{field, value})
}

func (s *summary) addTime(field string, t *time.Time) {
	local, utc := sheet.MomentOr(t, s.zone)
	s.add(field, local)
	s.add(field+"_utc", utc)
}

func summarySheet(x workflow.Export, d exchange.DeviationResult) sheet.Table {
	s := &summary{zone: x.Zone}
	s.add("caution", exchange.Caution)
	s.add("plant", x.Plant)
	s.addTime("exported_at", &x.MadeAt)
	s.add("deviation", int64(x.Deviation.ID))
	s.add("instrument", d.Instrument)
	s.add("state", d.State)
	s.add("opened_by", d.OpenedBy)
	s.addTime("failed_at", &x.Run.FailedAt)
	s.addTime("last_good_at", x.Run.LastGoodAt)
	s.addTime("window.after", x.Run.After)
	s.addTime("window.until", x.Run.Until)
	s.run(x)
	s.error(d.Error)
	for _, v := range []string{"met", "indeterminate", "missed", "unknown"} {
		s.add("assessments."+v, verdicts(d.Assessments, v))
	}
	s.add("holds", len(d.Holds))
	s.add("shipped", len(d.Shipped))
	s.add("lots", len(x.Lots))
	s.add("transformations", len(x.Edges))
	for i, note := range d.Notes {
		s.add(fmt.Sprintf("notes.%d", i+1), note)
	}
	return sheet.Table{Name: "summary", Columns: []string{"field", "value"}, Rows: rowsOf(s.rows, func(_ int, r [2]sheet.Cell) []sheet.Cell { return r[:] })}
}

// run says which trace this is. An untraced deviation has run 0.
func (s *summary) run(x workflow.Export) {
	s.add("run", x.Run.Number)
	if x.Run.Number > 0 {
		s.addTime("made_at", &x.Run.MadeAt)
		s.add("same_evidence", x.SameEvidence()) // false: something arrived since, and the readings include it
	}
	s.addTime("retrace_due", x.Deviation.RetraceDue)
	s.add("cascade_pending", sheet.Or((*int64)(x.CascadePending)))
	s.add("policy_version", x.Run.PolicyVersion)
	s.add("method", x.Run.Method)
	s.add("input_sha256", hex.EncodeToString(x.Run.InputDigest))
	s.add("readings", x.Run.Readings)
	s.add("unmatched_readings", x.Run.Unmatched)
}

func (s *summary) error(e exchange.ErrorResult) {
	s.add("error.model", e.Model)
	s.add("error.unit", e.Unit)
	for i, p := range e.Points {
		at := fmt.Sprintf("error.points.%d.", i+1)
		s.add(at+"at", p.At)
		s.add(at+"reference", p.Reference)
		s.add(at+"found", p.Found)
		s.add(at+"left", sheet.Or(p.Left))
		s.add(at+"expanded_uncertainty", p.ExpandedUncertainty)
		s.add(at+"basis", p.Basis)
	}
}

func verdicts(list []exchange.AssessmentResult, verdict string) (n int) {
	for _, a := range list {
		if a.Verdict == verdict {
			n++
		}
	}
	return n
}
