// Package print draws documents for paper. It decides nothing: what stands in
// them is given to it as text. The same text gives the same bytes.
package print

import (
	"bytes"
	"fmt"
	"image/color"
	"sort"
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"github.com/boombuler/barcode/qr"
)

// sheet is a document at work. Lengths are in mm, sizes of letters in points.
type sheet struct {
	*fpdf.Fpdf
}

// newSheet begins a document of pages of one size that bears a date: the
// library would write the clock's.
func newSheet(title string, width, height float64, at time.Time, compress bool) sheet {
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: width, Ht: height}})
	f.SetCreationDate(at.UTC())
	f.SetModificationDate(at.UTC())
	f.SetCatalogSort(true)
	f.SetCompression(compress)
	f.SetTitle(clean(title), true)
	f.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	f.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	f.SetMargins(0, 0, 0)
	f.SetCellMargin(0)
	f.SetAutoPageBreak(false, 0)
	return sheet{f}
}

func (s sheet) bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := s.Output(&b); err != nil {
		return nil, fmt.Errorf("document: %w", err)
	}
	return b.Bytes(), nil
}

// clean leaves out what the font cannot draw: control characters, and runes
// beyond the plane that it knows.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r):
			return ' '
		case r > 0xffff:
			return '□'
		}
		return r
	}, text)
}

// text writes one line with its top left corner at x, y.
func (s sheet) text(x, y float64, style string, points float64, text string) {
	s.SetFont("sans", style, points)
	s.SetXY(x, y)
	s.CellFormat(0, height(points), clean(text), "", 0, "LT", false, 0, "")
}

// height is the height of a line [mm] of letters of a size [pt].
func height(points float64) float64 {
	const mmPerPoint, leading = 25.4 / 72, 1.2
	return points * mmPerPoint * leading
}

// fit writes text into a width, in the largest size from most down to least
// points that takes one line; where none does, in as many lines as it needs. It
// returns the height that it took.
func (s sheet) fit(x, y, width float64, style string, most, least float64, text string) float64 {
	points, lines := s.sized(width, style, most, least, text)
	for i, line := range lines {
		s.text(x, y+float64(i)*height(points), style, points, line)
	}
	return float64(len(lines)) * height(points)
}

// sized returns the size and the lines in which fit writes a text.
func (s sheet) sized(width float64, style string, most, least float64, text string) (points float64, lines []string) {
	text = clean(text)
	for points = most; points >= least; points -= 0.5 {
		s.SetFont("sans", style, points)
		if s.GetStringWidth(text) <= width {
			return points, []string{text}
		}
	}
	s.SetFont("sans", style, least)
	return least, s.lines(text, width)
}

// lines cuts text into lines of a width in the present font: at a space where
// there is one, else anywhere.
func (s sheet) lines(text string, width float64) []string {
	var out []string
	rest := []rune(text)
	for len(rest) > 0 {
		n := s.fitting(rest, width)
		if n < len(rest) {
			if at := strings.LastIndexByte(string(rest[:n+1]), ' '); at > 0 {
				n = len([]rune(string(rest[:n+1])[:at]))
			}
		}
		out = append(out, string(rest[:n]))
		rest = []rune(strings.TrimLeft(string(rest[n:]), " "))
	}
	return out
}

// fitting returns how many letters of a text fit into a width, at least one. It
// measures no more of a long text than about a line.
func (s sheet) fitting(text []rune, width float64) int {
	fits := func(n int) bool { return s.GetStringWidth(string(text[:n])) <= width }
	most := 32
	for most < len(text) && fits(most) {
		most *= 2
	}
	most = min(most, len(text))
	return max(1, sort.Search(most, func(n int) bool { return !fits(n + 1) }))
}

// code draws a QR code of a content in a square, with the quiet zone of four
// modules around it (ISO/IEC 18004, from memory).
func (s sheet) code(x, y, side float64, content string) error {
	modules, err := qr.Encode(content, qr.M, qr.Auto)
	if err != nil {
		return fmt.Errorf("QR code: %w", err)
	}
	n := modules.Bounds().Dx()
	const quiet = 4
	module := side / float64(n+2*quiet)
	s.SetFillColor(0, 0, 0)
	for row := range n {
		for from := 0; from < n; from++ { // one bar for each run of dark modules: seams between squares print white
			to := from
			for to < n && dark(modules.At(to, row)) {
				to++
			}
			if to > from {
				s.Rect(x+module*float64(quiet+from), y+module*float64(quiet+row), module*float64(to-from), module, "F")
				from = to
			}
		}
	}
	return nil
}

func dark(c color.Color) bool {
	r, _, _, _ := c.RGBA()
	return r == 0
}
