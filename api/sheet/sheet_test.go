package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"iter"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"
)

func table(name string, rows ...[]Cell) Table {
	columns := []string{"a", "b", "c", "d", "e"}
	return Table{Name: name, Columns: columns, Rows: of(rows, nil)}
}

func of(rows [][]Cell, err error) iter.Seq2[[]Cell, error] {
	return func(yield func([]Cell, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
		if err != nil {
			yield(nil, err)
		}
	}
}

var made = time.Date(2025, 3, 4, 6, 0, 0, 0, time.UTC)

// opened writes a workbook and opens it again.
func opened(t interface{ Fatal(...any) }, tables ...Table) *excelize.File {
	var b bytes.Buffer
	if err := XLSX(&b, made, tables...); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

var mixed = [][]Cell{
	{"L-1", 160.25, Decimal("100.50"), true, 3},
	{nil, math.Inf(1), Decimal("12345678901234567890.5"), false, int64(-7)},
	{"=1+1", -0.5, Decimal("=x"), "+41 79", "@a"},
	{"-12", "\tx", "a,b\"c\r\nd", "ö", ""},
}

func TestCSV(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := CSV(&b, table("t", mixed...)); err != nil {
		t.Fatal(err)
	}
	want := "a,b,c,d,e\r\nL-1,160.25,100.50,true,3\r\n,+Inf,12345678901234567890.5,false,-7\r\n'=1+1,-0.5,'=x,'+41 79,'@a\r\n" +
		"'-12,'\tx,\"a,b\"\"c\r\nd\",ö,\r\n"
	if d := cmp.Diff(want, b.String()); d != "" {
		t.Error(d)
	}
}

func TestXLSX(t *testing.T) {
	t.Parallel()
	f := opened(t, table("first", mixed...), table("second"))
	if d := cmp.Diff([]string{"first", "second"}, f.GetSheetList()); d != "" {
		t.Error(d)
	}
	rows, err := f.GetRows("first", excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{{"a", "b", "c", "d", "e"}, {"L-1", "160.25", "100.5", "1", "3"}, {"", "+Inf", "12345678901234567890.5", "0", "-7"},
		{"=1+1", "-0.5", "=x", "+41 79", "@a"}, {"-12", "\tx", "a,b\"c\r\nd", "ö"}}
	if d := cmp.Diff(want, rows); d != "" {
		t.Error(d)
	}
	for cell, kind := range map[string]excelize.CellType{"A2": excelize.CellTypeInlineString, "B2": excelize.CellTypeUnset, "C2": excelize.CellTypeUnset, "D2": excelize.CellTypeBool,
		"E2": excelize.CellTypeUnset, "B3": excelize.CellTypeInlineString, "C3": excelize.CellTypeInlineString, "A4": excelize.CellTypeInlineString, "C4": excelize.CellTypeInlineString} {
		if got, err := f.GetCellType("first", cell); err != nil || got != kind {
			t.Errorf("%s is of type %v, %v; want %v", cell, got, err, kind)
		}
	}
	for _, cell := range []string{"A4", "C4", "D4", "E4", "A5", "B5"} {
		if formula, err := f.GetCellFormula("first", cell); formula != "" || err != nil {
			t.Errorf("%s has the formula %q, %v", cell, formula, err)
		}
		style, _ := f.GetCellStyle("first", cell)
		if s, err := f.GetStyle(style); err != nil || s.NumFmt != 49 {
			t.Errorf("%s is no text any more when somebody edits it: %+v, %v", cell, s, err)
		}
	}
	if props, err := f.GetDocProps(); err != nil || props.Creator != "lastgood" || props.Created != "2025-03-04T06:00:00Z" {
		t.Errorf("made by %+v, %v", props, err)
	}
	if tables, err := f.GetTables("first"); err != nil || len(tables) != 1 || tables[0].Range != "A1:E5" {
		t.Errorf("filters: %+v, %v", tables, err)
	}
}

// TestLongTable: what does not fit on a sheet goes on in the next, header and
// all.
func TestLongTable(t *testing.T) {
	t.Parallel()
	f := excelize.NewFile()
	b := &book{File: f, rows: 3}
	var rows [][]Cell
	for i := range 5 {
		rows = append(rows, []Cell{i})
	}
	if err := b.add(table("long", rows...)); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := b.save(&out); err != nil {
		t.Fatal(err)
	}
	got, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string][][]string{"long": {{"0"}, {"1"}}, "long 2": {{"2"}, {"3"}}, "long 3": {{"4"}}} {
		rows, err := got.GetRows(name)
		if d := cmp.Diff(append([][]string{{"a", "b", "c", "d", "e"}}, want...), rows); d != "" || err != nil {
			t.Errorf("%s: %v\n%s", name, err, d)
		}
	}
}

func TestLongText(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("ö", maxText)
	f := opened(t, table("t", []Cell{long, long + "x", strings.Repeat("𝄞", maxText/2+1)}))
	for cell, want := range map[string]string{"A2": long, "B2": strings.Repeat("ö", maxText-len(cutMark)) + cutMark, "C2": strings.Repeat("𝄞", (maxText-len(cutMark))/2) + cutMark} {
		if got, err := f.GetCellValue("t", cell); got != want || err != nil {
			t.Errorf("%s has %d bytes, %v; want %d", cell, len(got), err, len(want))
		}
	}
}

// TestAnyText: whatever a text has in it, it comes back and is no formula; only
// what XML cannot hold does not.
func TestAnyText(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.StringMatching(`[=+@\-]?[ -~\t\n]{0,20}`), rapid.StringMatching(`[ -~öÖ🍖]{0,20}_x00[0-9A-F]{2}_[ -~]{0,5}`)).Draw(t, "text")
		f := opened(t, table("t", []Cell{s, "end"}))
		got, err := f.GetCellValue("t", "A2", excelize.Options{RawCellValue: true})
		if err != nil || got != s {
			t.Fatalf("%q came back from the workbook as %q, %v", s, got, err)
		}
		if formula, _ := f.GetCellFormula("t", "A2"); formula != "" {
			t.Fatalf("%q became a formula", s)
		}
		var b bytes.Buffer
		if err := CSV(&b, table("t", []Cell{s, "end"})); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil || len(rows) != 2 || strings.TrimPrefix(rows[1][0], "'") != strings.TrimPrefix(s, "'") {
			t.Fatalf("%q came back as %q, %v", s, rows, err)
		}
		if formula(rows[1][0]) {
			t.Fatalf("%q is left as %q", s, rows[1][0])
		}
	})
}

// TestDecimals: a number is a number in a workbook if none of it is lost.
func TestDecimals(t *testing.T) {
	t.Parallel()
	for d, want := range map[Decimal]bool{"1": true, "0.10": true, "-3.5": true, "123456789012345": true, "1234567890123456": false, "0.000000000000001": true,
		"": false, "1e3": false, "NaN": false, "0x10": false, "1_0": false, "x": false} {
		if _, ok := d.exactly(); ok != want {
			t.Errorf("%q: %v", d, ok)
		}
	}
}

func TestErrorsEndIt(t *testing.T) {
	t.Parallel()
	broken := errors.New("broken")
	bad := table("t")
	bad.Rows = of([][]Cell{{"a"}}, broken)
	var b bytes.Buffer
	if err := CSV(&b, bad); !errors.Is(err, broken) {
		t.Error(err)
	}
	b.Reset()
	if err := XLSX(&b, made, bad); !errors.Is(err, broken) || b.Len() != 0 {
		t.Errorf("%v, after %d bytes", err, b.Len())
	}
	if err := XLSX(full{}, made, table("t", mixed...)); !errors.Is(err, errFull) {
		t.Error(err)
	}
}

var errFull = errors.New("full")

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestMoment(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("", -5*3600)
	at := time.Date(2025, 3, 3, 10, 0, 0, 120e6, time.UTC)
	if local, utc := Moment(at, zone); local != "2025-03-03T05:00:00.12-05:00" || utc != "2025-03-03T10:00:00.120000Z" {
		t.Errorf("%v, %v", local, utc)
	}
	if local, utc := MomentOr(nil, zone); local != nil || utc != nil {
		t.Errorf("%v, %v", local, utc)
	}
}
