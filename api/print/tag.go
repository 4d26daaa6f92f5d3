package print

import "time"

// Tag is the tag that hangs on product on hold, A5 upright: two fit on a sheet
// of A4. Its large lines are read at two metres: capitals of 10 mm, which is
// 1/200 of that (common practice for signs).
type Tag struct {
	Lot   string
	Large []string    // what else is read from afar
	Small [][2]string // what is known, by name
	Foot  string
	Code  string // what the QR code says
	At    time.Time
}

// Tags draws a page for each tag.
func Tags(title string, list []Tag) ([]byte, error) { return drawTags(title, list, true) }

// The measures of a tag [mm].
const (
	tagWide, tagHigh = 148.0, 210.0
	tagEdge          = 9.0
	tagText          = tagWide - 2*tagEdge
)

func drawTags(title string, list []Tag, compress bool) ([]byte, error) {
	s := newSheet(title, tagWide, tagHigh, list[0].At, compress)
	for _, t := range list {
		if err := t.draw(s); err != nil {
			return nil, err
		}
	}
	return s.bytes()
}

// draw draws one tag on a page of its own. What does not fit in its size is drawn
// smaller, so that nothing is left out.
func (t Tag) draw(s sheet) error {
	const (
		band   = 46.0
		side   = 44.0 // of the code, its quiet zone included
		footAt = tagHigh - 8
		large  = 40.0 // capitals of 10 mm: 0.73 of the size in this font
	)
	s.AddPage()
	s.SetFillColor(0, 0, 0)
	s.Rect(0, 0, tagWide, band, "F")
	s.SetTextColor(255, 255, 255)
	s.SetFont("sans", "B", 124)
	s.text((tagWide-s.GetStringWidth("HOLD"))/2, 3, "B", 124, "HOLD")
	s.SetTextColor(0, 0, 0)
	y := band + 2
	y += s.fit(tagEdge, y, tagText, "B", 56, 20, t.Lot) + 0.5
	for _, line := range t.Large {
		y += s.fit(tagEdge, y, tagText, "B", large, 16, line)
	}
	y += 1.5
	s.SetDrawColor(0, 0, 0)
	s.SetLineWidth(0.8)
	s.Line(tagEdge, y, tagEdge+tagText, y)
	t.small(s, y+1.5, tagText-side, footAt-1)
	if err := s.code(tagWide-tagEdge-side+3, footAt-side-1, side, t.Code); err != nil {
		return err
	}
	s.fit(tagEdge, footAt, tagText, "", 8, 5, t.Foot)
	return nil
}

// small writes what is known, a name above each value, in the largest size in
// which all of it ends above the foot.
func (t Tag) small(s sheet, y, width, until float64) {
	const ofName = 0.5 // the size of a name, in that of its value
	most := 17.0
	for ; most > 4; most -= 0.5 {
		tall := 0.0
		for _, line := range t.Small {
			points, lines := s.sized(width, "B", most, most*0.75, line[1])
			tall += height(most*ofName) + float64(len(lines))*height(points)
		}
		if y+tall <= until {
			break
		}
	}
	for _, line := range t.Small {
		y += s.fit(tagEdge, y, width, "", most*ofName, 1, line[0])
		y += s.fit(tagEdge, y, width, "B", most, most*0.75, line[1])
	}
}
