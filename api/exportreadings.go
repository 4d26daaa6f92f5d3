package api

import (
	"context"
	"iter"
	"time"

	"lastgood/api/sheet"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow"
)

// readingSheet has the readings as they were recorded and as they were judged.
// It may be long: a caller who has gone ends it.
func readingSheet(ctx context.Context, x workflow.Export) sheet.Table {
	return readingTable(ctx, x.Run.Instrument, x.Zone, x.Readings())
}

func readingTable(ctx context.Context, instrument string, zone *time.Location, list iter.Seq2[workflow.ExportReading, error]) sheet.Table {
	columns := []string{"lot", "limit", "via", "location", "instrument", "taken_at", "taken_at_utc", "shifted_at_utc", "quarantined", "value", "unit",
		"standing", "error_low", "error_found", "error_high", "limit_unit", "recorded", "corrected", "worst", "best"}
	return sheet.Table{Name: "readings", Columns: columns, Rows: func(yield func([]sheet.Cell, error) bool) {
		row := make([]sheet.Cell, len(columns))
		for r, err := range list {
			if err == nil {
				err = ctx.Err()
			}
			fillReading(row, r, instrument, zone)
			if !yield(row, err) || err != nil {
				return
			}
		}
	}}
}

func fillReading(row []sheet.Cell, r workflow.ExportReading, instrument string, zone *time.Location) {
	clear(row)
	row[0], row[1], row[2], row[3], row[4] = textCell(r.Lot), textCell(r.Limit), textCell(r.Via), textCell(r.Location), instrument
	row[5], row[6] = sheet.Moment(time.UnixMicro(r.Shown), zone)
	if r.Shown != r.At {
		_, row[7] = sheet.Moment(time.UnixMicro(r.At), zone)
	}
	row[8], row[9], row[10], row[11] = textCell(r.Void), r.Value, r.Unit.String(), standings[r.Standing]
	if r.Standing == metrology.Known {
		row[12], row[13], row[14] = float64(r.Error.Lo), float64(r.Error.Found), float64(r.Error.Hi)
	}
	row[15] = textCell(r.LimitIn)
	for i, m := range [4]unit.Micro{r.Recorded, r.Corrected, r.Worst, r.Best} {
		if m != unit.Unknown {
			row[16+i] = m.Degrees()
		}
	}
}

func textCell(s string) sheet.Cell {
	if s == "" {
		return nil
	}
	return s
}
