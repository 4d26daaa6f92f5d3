package api

import (
	"context"
	"fmt"
	"io"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/sheet"
	"lastgood/workflow"
)

func (s *server) ledgerCSV(ctx context.Context, in *DeviationPath) (*huma.StreamResponse, error) {
	l, err := s.svc.Ledger(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	return spooled(fmt.Sprintf("deviation-%d-consignees.csv", in.ID), asCSV, func(w io.Writer) error { return sheet.CSV(w, ledgerSheet(l)) })
}

func (s *server) ledgerXLSX(ctx context.Context, in *DeviationPath) (*huma.StreamResponse, error) {
	l, err := s.svc.Ledger(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	return spooled(fmt.Sprintf("deviation-%d-consignees.xlsx", in.ID), asXLSX, func(w io.Writer) error { return sheet.XLSX(w, l.MadeAt, ledgerSheet(l)) })
}

// ledgerSheet is the ledger as it can be sorted: what consignees say beside what
// was carried out.
func ledgerSheet(l workflow.Ledger) sheet.Table {
	return sheet.Table{Name: "consignees", Columns: []string{"consignee", "shipment", "lot", "verdict", "quantity", "quantity_unit", "shipped_at", "shipped_at_utc",
		"to_notify", "told_at", "told_at_utc", "method", "text_version", "said_on_hand", "said_returned", "said_destroyed", "said_sold_on",
		"in_sample", "check_passed", "decided", "retrieved", "accounted_unrecoverable", "differences"},
		Rows: rowsOf(l.Lines, func(_ int, c workflow.Consignment) []sheet.Cell {
			at, utc := sheet.Moment(c.ShippedAt, l.Zone)
			row := []sheet.Cell{c.Consignee, c.Shipment, c.Lot, string(c.Verdict), decimalCell(c.Quantity), sheet.Or(c.Unit), at, utc, c.ToNotify}
			if n := c.Notice; n != nil {
				at, utc = sheet.Moment(n.At, l.Zone)
				row = append(row, at, utc, n.Method, n.Version)
			} else {
				row = append(row, nil, nil, nil, nil)
			}
			if r := c.Said; r != nil {
				row = append(row, sheet.Decimal(r.OnHand), sheet.Decimal(r.Returned), sheet.Decimal(r.Destroyed), sheet.Decimal(r.SoldOn))
			} else {
				row = append(row, nil, nil, nil, nil)
			}
			row = append(row, c.InSample)
			if c.Check != nil {
				row = append(row, c.Check.Passed)
			} else {
				row = append(row, nil)
			}
			return append(row, sheet.Or(orNull(c.Is)), sheet.Decimal(c.Retrieved), sheet.Decimal(c.Unrecoverable), listCell(c.Differences))
		})}
}
