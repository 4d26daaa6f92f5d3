package print

import "time"

// Label is the label of an instrument, 62 mm by 29 mm: a width that label
// printers take, on a roll.
type Label struct {
	Number string   // the inventory number
	Lines  []string // what is said of it
	Bad    string   // why it must not be used; empty: it may
	Code   string   // what the QR code says
	At     time.Time
}

// PDF draws the label.
func (l Label) PDF() ([]byte, error) { return l.draw(true) }

func (l Label) draw(compress bool) ([]byte, error) {
	const (
		wide, high = 62.0, 29.0
		edge       = 1.5
		side       = 26.0 // of the code, its quiet zone included
		column     = wide - side - 2*edge
	)
	s := newSheet("Label "+l.Number, wide, high, l.At, compress)
	s.AddPage()
	y, most := edge, 15.0
	if l.Bad != "" {
		const band = 6.5
		s.SetFillColor(0, 0, 0)
		s.Rect(0, 0, wide-side, band, "F")
		s.SetTextColor(255, 255, 255)
		s.text(edge, 1, "B", 13, "DO NOT USE")
		s.SetTextColor(0, 0, 0)
		y, most = band+0.7, 11
	}
	y += s.fit(edge, y, column, "B", most, 6, l.Number) + 0.3
	if l.Bad != "" {
		y += s.fit(edge, y, column, "B", 7.5, 6.5, l.Bad) + 0.3
	}
	size := 7.0
	if room := (high - edge - y) / float64(max(1, len(l.Lines))); room < height(size) {
		size = max(4.5, size*room/height(size))
	}
	for _, line := range l.Lines {
		y += s.fit(edge, y, column, "", size, min(size, 5), line)
	}
	if err := s.code(wide-side-0.5, (high-side)/2, side, l.Code); err != nil {
		return nil, err
	}
	return s.bytes()
}
