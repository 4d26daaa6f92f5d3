package sheet

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
)

// CSV writes a table as RFC 4180 has it: UTF-8, a header, lines that end in CRLF.
func CSV(w io.Writer, t Table) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(t.Columns); err != nil {
		return err
	}
	fields := make([]string, len(t.Columns))
	for row, err := range t.Rows {
		if err != nil {
			return err
		}
		clear(fields)
		for i, c := range row {
			fields[i] = field(c)
		}
		if err := out.Write(fields); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func field(c Cell) string {
	switch v := c.(type) {
	case nil:
		return ""
	case bool:
		return strconv.FormatBool(v)
	case int:
		return strconv.Itoa(v)
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		if a := math.Abs(v); a != 0 && a < 1e-4 {
			return strconv.FormatFloat(v, 'g', -1, 64) // a chance of 1e-200 is no column of noughts
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	case Decimal:
		if _, err := strconv.ParseFloat(string(v), 64); err == nil {
			return string(v)
		}
		return guarded(string(v))
	case string:
		return guarded(v)
	}
	panic("sheet: a cell of no kind that it has")
}

func guarded(s string) string {
	if formula(s) {
		return "'" + s
	}
	return s
}
