package sheet

import (
	"archive/zip"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"
)

const maker = "lastgood"

// What a workbook can hold.
const (
	maxRows = 1 << 20     // of a sheet, the header included
	maxText = 1<<15 - 1   // UTF-16 units of a cell
	cutMark = "… (cut)"   // at the end of a text that had more
	width   = float64(18) // of a column, in characters
)

// XLSX writes tables as a workbook, one sheet each, with a filter on every
// column. A table that is longer than a sheet goes on in another of the same
// name with a number. Sheets are spooled to temporary files, so memory does not
// grow with the rows; they are gone when XLSX returns. made is when.
func XLSX(w io.Writer, made time.Time, tables ...Table) (err error) {
	f := excelize.NewFile()
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	if err := sign(f, made); err != nil {
		return err
	}
	b := &book{File: f, rows: maxRows}
	if b.header, err = f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}}); err != nil {
		return err
	}
	if b.text, err = f.NewStyle(&excelize.Style{NumFmt: 49}); err != nil { // text: stays one when it is edited
		return err
	}
	for _, t := range tables {
		if err := b.add(t); err != nil {
			return fmt.Errorf("sheet %s: %w", t.Name, err)
		}
	}
	if err := f.DeleteSheet("Sheet1"); err != nil { // that every new workbook has
		return err
	}
	return b.save(w)
}

// sign says what made the workbook and when. Else it would name the library, and
// a day of long ago.
func sign(f *excelize.File, made time.Time) error {
	at := made.UTC().Format(time.RFC3339)
	if err := f.SetDocProps(&excelize.DocProperties{Creator: maker, LastModifiedBy: maker, Created: at, Modified: at}); err != nil {
		return err
	}
	return f.SetAppProps(&excelize.AppProperties{Application: maker})
}

// book is a workbook in the making.
type book struct {
	*excelize.File
	header, text int // styles
	rows         int // of a sheet, the header included
}

// save writes the workbook straight to w. The library's own way builds the whole
// archive in memory first.
func (b *book) save(w io.Writer) error {
	b.SetZipWriter(func(io.Writer) excelize.ZipWriter { return zip.NewWriter(w) })
	_, err := b.WriteToBuffer()
	return err
}

// add adds a table.
func (b *book) add(t Table) error {
	name, n := t.Name, 1
	s, err := b.sheet(name, t.Columns)
	if err != nil {
		return err
	}
	for row, err := range t.Rows {
		if err != nil {
			return err
		}
		if s.used == b.rows {
			if err := s.finish(name); err != nil {
				return err
			}
			n++
			name = fmt.Sprintf("%s %d", t.Name, n)
			if s, err = b.sheet(name, t.Columns); err != nil {
				return err
			}
		}
		if err := s.write(row); err != nil {
			return err
		}
	}
	return s.finish(name)
}

// page is one sheet in the making.
type page struct {
	*excelize.StreamWriter
	*book
	columns, used int
	cells         []any
}

// sheet begins a sheet with its header, which stays in view.
func (b *book) sheet(name string, columns []string) (*page, error) {
	if _, err := b.NewSheet(name); err != nil {
		return nil, err
	}
	out, err := b.NewStreamWriter(name)
	if err != nil {
		return nil, err
	}
	if err := out.SetColWidth(1, len(columns), width); err != nil {
		return nil, err
	}
	if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return nil, err
	}
	p := &page{StreamWriter: out, book: b, columns: len(columns), cells: make([]any, len(columns))}
	for i, c := range columns {
		p.cells[i] = excelize.Cell{StyleID: b.header, Value: c}
	}
	return p, p.put()
}

func (p *page) put() error {
	p.used++
	return p.SetRow(fmt.Sprintf("A%d", p.used), p.cells)
}

func (p *page) write(row []Cell) error {
	clear(p.cells)
	for i, c := range row {
		p.cells[i] = p.cell(c)
	}
	return p.put()
}

// cell gives a value to the library in the type that it is to be kept in.
func (p *page) cell(c Cell) any {
	switch v := c.(type) {
	case Decimal:
		if f, ok := v.exactly(); ok {
			return f
		}
		return excelize.Cell{StyleID: p.text, Value: fit(string(v))}
	case string:
		if formula(v) {
			return excelize.Cell{StyleID: p.text, Value: fit(v)}
		}
		return fit(v)
	}
	return c
}

// fit cuts a text that no cell can hold, and says so.
func fit(s string) string {
	if len(s) <= maxText {
		return s
	}
	units := utf16.Encode([]rune(s))
	if len(units) <= maxText {
		return s
	}
	cut := utf16.Decode(units[:maxText-len(cutMark)])
	return strings.TrimRight(string(cut), "\uFFFD") + cutMark
}

// finish puts a filter on every column and closes the sheet.
func (p *page) finish(name string) error {
	last, err := excelize.CoordinatesToCellName(p.columns, p.used)
	if err != nil {
		return err
	}
	if p.used > 1 { // a filter needs something to find
		err = p.AddTable(&excelize.Table{Range: "A1:" + last, Name: "t_" + strings.ReplaceAll(name, " ", "_"), StyleName: "TableStyleLight1"})
	}
	if err != nil {
		return err
	}
	return p.Flush()
}
