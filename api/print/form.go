package print

import (
	"fmt"
	"time"
)

// Form is a form to be filled in by hand, on A4.
type Form struct {
	Title  string
	Head   [][2]string // what is known, by name
	Orders []string    // what to do, in order
	Points []FormPoint
	Lists  []FormList
	Sign   []string // what is written at the end, each with a line for it
	Foot   string   // at the foot of every page
	Code   string   // what the QR code says
	At     time.Time
}

// FormPoint is one point of a check with its boxes.
type FormPoint struct {
	Title string
	Notes []string
	Boxes []string // what is to be written into each
}

// FormList is a list under a heading.
type FormList struct {
	Title string
	Lines []string
}

// The measures of a page [mm].
const (
	a4Wide, a4High = 210.0, 297.0
	margin         = 18.0
	textWide       = a4Wide - 2*margin
	footAt         = a4High - 14
)

// PDF draws the form.
func (f Form) PDF() ([]byte, error) { return f.draw(true) }

func (f Form) draw(compress bool) ([]byte, error) {
	p := &page{sheet: newSheet(f.Title, a4Wide, a4High, f.At, compress)}
	p.AliasNbPages("")
	p.SetFooterFunc(func() {
		p.text(margin, footAt, "", 8, f.Foot)
		p.SetFont("sans", "", 8)
		p.SetXY(margin, footAt)
		p.CellFormat(textWide, height(8), fmt.Sprintf("page %d of {nb}", p.PageNo()), "", 0, "RT", false, 0, "")
	})
	p.AddPage()
	p.y = margin
	if err := f.top(p); err != nil {
		return nil, err
	}
	for i, line := range f.Orders {
		p.line(10, "", fmt.Sprintf("%d. %s", i+1, line))
	}
	for _, pt := range f.Points {
		pt.draw(p)
	}
	for _, l := range f.Lists {
		p.room(3 * height(10))
		p.y += 3
		p.line(11, "B", l.Title)
		for _, line := range l.Lines {
			p.line(9.5, "", line)
		}
	}
	p.y += 6
	for _, name := range f.Sign {
		p.room(12)
		p.text(margin, p.y+4, "", 10, name)
		p.Line(margin+50, p.y+8, margin+textWide, p.y+8)
		p.y += 11
	}
	return p.bytes()
}

// top draws the title, what is known and the code.
func (f Form) top(p *page) error {
	const side = 34.0
	p.y += p.fit(margin, p.y, textWide-side-4, "B", 20, 12, f.Title) + 2
	if err := p.code(a4Wide-margin-side, margin-4, side, f.Code); err != nil {
		return err
	}
	for _, h := range f.Head {
		p.text(margin, p.y, "B", 10, h[0])
		width := textWide - 50
		if p.y < margin+side {
			width -= side
		}
		p.y += p.fit(margin+50, p.y, width, "", 10, 8, h[1]) + 0.8
	}
	p.y = max(p.y, margin+side-4) + 3
	return nil
}

// page is the place that the drawing has reached.
type page struct {
	sheet
	y float64
}

// room begins a new page where less than a height is left of this one.
func (p *page) room(height float64) {
	if p.y+height > footAt-4 {
		p.AddPage()
		p.y = margin
	}
}

// line writes text over the width of the page, in as many lines as it takes.
func (p *page) line(points float64, style, text string) {
	p.SetFont("sans", style, points)
	for _, l := range p.lines(clean(text), textWide) {
		p.room(height(points))
		p.text(margin, p.y, style, points, l)
		p.y += height(points)
	}
	p.y += 0.6
}

// draw draws a point: its title, its notes, and a row of boxes to write into.
func (pt FormPoint) draw(p *page) {
	const box = 13.0
	p.room(height(12) + float64(len(pt.Notes))*height(9) + box + 8)
	p.y += 4
	p.SetDrawColor(0, 0, 0)
	p.Line(margin, p.y, margin+textWide, p.y)
	p.y += 1.5
	p.line(12, "B", pt.Title)
	for _, n := range pt.Notes {
		p.line(9, "", n)
	}
	width := textWide / float64(max(1, len(pt.Boxes)))
	for i, name := range pt.Boxes {
		x := margin + float64(i)*width
		p.Rect(x, p.y, width, box, "D")
		p.fit(x+1, p.y+0.8, width-2, "", 8, 6, name)
	}
	p.y += box
}
