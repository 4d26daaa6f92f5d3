package api

import (
	"context"
	"iter"
	"strings"

	"lastgood/api/exchange"
	"lastgood/api/sheet"
	"lastgood/workflow"
)

// sheets are the sheets of a trace, in the order of a workbook. Their columns
// have the words of the exchange format; every time is there twice, as it was
// where the plant is and in UTC to sort by.
func sheets(ctx context.Context, x workflow.Export) []sheet.Table {
	d := exchange.NewResult(x.Plant, x.Zone, []workflow.Report{x.Report}).Deviations[0]
	return []sheet.Table{summarySheet(x, d), assessmentSheet(d), holdSheet(x, d), shippedSheet(x, d), lotSheet(x), transformationSheet(x), readingSheet(ctx, x)}
}

func sheetOf(ctx context.Context, x workflow.Export, name string) sheet.Table {
	for _, t := range sheets(ctx, x) {
		if t.Name == name {
			return t
		}
	}
	panic("api: there is no sheet " + name)
}

// rowsOf makes a row of each of a list.
func rowsOf[T any](list []T, row func(int, T) []sheet.Cell) iter.Seq2[[]sheet.Cell, error] {
	return func(yield func([]sheet.Cell, error) bool) {
		for i, v := range list {
			if !yield(row(i, v), nil) {
				return
			}
		}
	}
}

func assessmentSheet(d exchange.DeviationResult) sheet.Table {
	return sheet.Table{Name: "assessments", Columns: []string{"lot", "limit", "limit_text", "limit_unit", "via", "verdict", "own_verdict", "missed_as_recorded",
		"readings", "measure", "measure_unit", "required", "recorded", "corrected", "worst", "headroom", "worst_error", "probability_missed",
		"corroborated_by", "kill_step", "quality_note", "level", "level_reason", "score", "route", "route_reason", "signers", "reasons", "method"},
		Rows: rowsOf(d.Assessments, func(_ int, a exchange.AssessmentResult) []sheet.Cell {
			m := a.Measure
			var kill sheet.Cell
			if a.KillStep != nil {
				kill = a.KillStep.Limit
			}
			return []sheet.Cell{a.Lot, sheet.Or(a.Limit), a.LimitText, a.LimitUnit, a.Via, a.Verdict, a.OwnVerdict, a.MissedAsRecorded,
				a.Readings, m.Name, m.Unit, sheet.Or(m.Required), sheet.Or(m.Recorded), sheet.Or(m.Corrected), sheet.Or(m.Worst),
				sheet.Or(a.Headroom), sheet.Or(a.WorstError), sheet.Or(a.Probability), listCell(a.CorroboratedBy), kill, sheet.Or(a.Quality),
				a.Level, a.LevelReason, a.Score, a.Route, a.RouteReason, listCell(a.Signers), listCell(a.Reasons), a.Method}
		})}
}

func holdSheet(x workflow.Export, d exchange.DeviationResult) sheet.Table {
	return sheet.Table{Name: "holds", Columns: []string{"lot", "because_of", "verdict", "quantity", "quantity_unit", "location",
		"placed_at", "placed_at_utc", "acknowledged", "acknowledged_at", "acknowledged_at_utc", "counted_quantity"},
		Rows: rowsOf(d.Holds, func(i int, h exchange.HoldResult) []sheet.Cell {
			of := x.Holds[i]
			placed, placedUTC := sheet.Moment(of.PlacedAt, x.Zone)
			seen, seenUTC := sheet.MomentOr(of.AcknowledgedAt, x.Zone)
			return []sheet.Cell{h.Lot, h.BecauseOf, sheet.Or(h.Verdict), decimalCell(h.Quantity), sheet.Or(h.QuantityUnit), sheet.Or(h.Location),
				placed, placedUTC, h.Acknowledged, seen, seenUTC, decimalCell(of.Counted)}
		})}
}

func shippedSheet(x workflow.Export, d exchange.DeviationResult) sheet.Table {
	return sheet.Table{Name: "shipped", Columns: []string{"lot", "because_of", "verdict", "shipment", "consignee", "quantity", "quantity_unit",
		"shipped_at", "shipped_at_utc"},
		Rows: rowsOf(d.Shipped, func(i int, s exchange.ShippedResult) []sheet.Cell {
			at, utc := sheet.Moment(x.Shipped[i].ShippedAt, x.Zone)
			return []sheet.Cell{s.Lot, s.BecauseOf, sheet.Or(s.Verdict), s.Shipment, s.Consignee, decimalCell(s.Quantity), sheet.Or(s.QuantityUnit), at, utc}
		})}
}

// lotSheet lists every lot in doubt. A lot that was only made of one has no
// verdict of its own.
func lotSheet(x workflow.Export) sheet.Table {
	verdicts := exchange.Gravest(x.Run.Assessments)
	return sheet.Table{Name: "lots", Columns: []string{"lot", "product", "made_at", "made_at_utc", "quantity", "quantity_unit", "because_of", "verdict"},
		Rows: rowsOf(x.Lots, func(_ int, l workflow.ExportLot) []sheet.Cell {
			at, utc := sheet.MomentOr(l.MadeAt, x.Zone)
			return []sheet.Cell{l.Lot, sheet.Or(l.Product), at, utc, decimalCell(l.Quantity), sheet.Or(l.Unit), l.BecauseOf, sheet.Or(verdicts[l.Lot])}
		})}
}

func transformationSheet(x workflow.Export) sheet.Table {
	return sheet.Table{Name: "transformations", Columns: []string{"event", "at", "at_utc", "input_lot", "input_in_doubt", "input_quantity",
		"output_lot", "output_in_doubt", "output_quantity", "quantity_unit"},
		Rows: rowsOf(x.Edges, func(_ int, e workflow.ExportEdge) []sheet.Cell {
			at, utc := sheet.Moment(e.At, x.Zone)
			return []sheet.Cell{e.Event, at, utc, e.Input, e.InputInDoubt, decimalCell(e.InputQuantity), e.Output, e.OutputInDoubt, decimalCell(e.OutQuantity), sheet.Or(e.Unit)}
		})}
}

func decimalCell(q *string) sheet.Cell { return sheet.Or((*sheet.Decimal)(q)) }

func listCell(list []string) sheet.Cell {
	if len(list) == 0 {
		return nil
	}
	return strings.Join(list, "; ")
}
