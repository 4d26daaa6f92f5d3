package print

import (
	"fmt"
	"time"
)

// Report is a document of many pages: what is known at the front, what a reader is
// to know first, then numbered sections of text and tables.
type Report struct {
	Title    string
	Head     [][2]string     // what is known, by name
	Opening  []ReportSection // before the others, without numbers, on pages of their own
	Foot     string          // at the foot of every page
	Sections []ReportSection
	At       time.Time
}

// ReportSection is one part of a report. Its table is drawn as cards where it has
// more columns than can be read.
type ReportSection struct {
	Title   string
	Notes   []string
	Heads   int // how many columns name a row, on its card
	Columns []string
	Rows    [][]string
}

// PDF draws the report.
func (r Report) PDF() ([]byte, error) { return r.draw(true) }

func (r Report) draw(compress bool) ([]byte, error) {
	p := &page{sheet: newSheet(r.Title, a4Wide, a4High, r.At, compress)}
	p.AliasNbPages("")
	p.SetFooterFunc(func() {
		p.text(margin, footAt, "", 8, r.Foot)
		p.SetFont("sans", "", 8)
		p.SetXY(margin, footAt)
		p.CellFormat(textWide, height(8), fmt.Sprintf("page %d of {nb}", p.PageNo()), "", 0, "RT", false, 0, "")
	})
	p.AddPage()
	p.y = margin
	p.y += p.fit(margin, p.y, textWide, "B", 20, 12, r.Title) + 3
	for _, h := range r.Head {
		p.text(margin, p.y, "B", 10, h[0])
		p.y += p.fit(margin+50, p.y, textWide-50, "", 10, 8, h[1]) + 0.8
	}
	for _, s := range r.Opening {
		p.section(s.Title, s)
	}
	if len(r.Opening) > 0 {
		p.AddPage()
		p.y = margin
	}
	for i, s := range r.Sections {
		p.section(fmt.Sprintf("%d. %s", i+1, s.Title), s)
	}
	return p.bytes()
}

const tablePoints = 7.5

func (p *page) section(title string, s ReportSection) {
	p.room(4 * height(12))
	p.y += 4
	p.line(13, "B", title)
	for _, n := range s.Notes {
		p.line(9, "", n)
	}
	p.table(s)
}

// table draws a table over the width of the page. Its head stands on every page
// that it reaches.
func (p *page) table(s ReportSection) {
	columns, rows := s.Columns, s.Rows
	if len(columns) == 0 {
		return
	}
	if len(rows) == 0 {
		p.line(9, "", "none")
		return
	}
	if len(columns) > mostColumns {
		p.cards(s.Heads, columns, rows)
		return
	}
	widths := p.widths(columns, rows)
	p.row(widths, columns, "B")
	for _, r := range rows {
		if p.y+p.rowHigh(widths, r) > footAt-4 && p.y > margin+20 {
			p.AddPage()
			p.y = margin
			p.row(widths, columns, "B")
		}
		p.row(widths, r, "")
	}
}

// widths shares the width of the page out to columns by how long their longest
// text is, up to a sentence.
func (p *page) widths(columns []string, rows [][]string) []float64 {
	const shortest, longest = 9, 40
	need := make([]float64, len(columns))
	total := 0.0
	for i, c := range columns {
		n := len([]rune(c))
		for _, r := range rows {
			n = max(n, len([]rune(r[i])))
		}
		need[i] = float64(min(max(n, shortest), longest))
		total += need[i]
	}
	for i := range need {
		need[i] *= textWide / total
	}
	return need
}

const gutter = 1.0 // between columns

func (p *page) cell(width float64, text string) []string {
	text = clean(text)
	if p.GetStringWidth(text) <= width-gutter {
		return []string{text}
	}
	return p.lines(text, width-gutter)
}

func (p *page) rowHigh(widths []float64, row []string) float64 {
	p.SetFont("sans", "", tablePoints)
	most := 1
	for i, text := range row {
		most = max(most, len(p.cell(widths[i], text)))
	}
	return float64(most)*height(tablePoints) + 0.4
}

// row draws one row, which is cut into pages where it is longer than one.
func (p *page) row(widths []float64, row []string, style string) {
	p.SetFont("sans", style, tablePoints)
	cells := make([][]string, len(row))
	most := 0
	for i, text := range row {
		cells[i] = p.cell(widths[i], text)
		most = max(most, len(cells[i]))
	}
	p.SetDrawColor(200, 200, 200)
	p.Line(margin, p.y, margin+textWide, p.y)
	for n := range most {
		p.room(height(tablePoints))
		x := margin
		for i := range cells {
			if n < len(cells[i]) {
				p.text(x, p.y, style, tablePoints, cells[i][n])
			}
			x += widths[i]
		}
		p.y += height(tablePoints)
	}
	p.y += 0.4
}
