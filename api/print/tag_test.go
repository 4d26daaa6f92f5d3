package print

import (
	"bytes"
	"strings"
	"testing"
)

func tag() Tag {
	return Tag{Lot: "240315-A-07", Large: []string{"DO NOT MOVE", "Deviation 12", "1250.5 kg · cooler 2"}, At: at, Code: "lastgood:hold:345",
		Foot: "Oxlip Quay Dairy · hold 345",
		Small: [][2]string{{"portion", "pallet 3"}, {"why", "thermometer T-114, by lot 240314-B-01"},
			{"since", "2026-03-04 06:00 +00:00"}, {"placed by", "J. Moth"}, {"lifted by", "QA only"}}}
}

// A page for each tag, A5 upright in points, with everything on it; what is read
// at two metres has capitals of 10 mm, which are 40 points in this font.
func TestTagsSayEverything(t *testing.T) {
	t.Parallel()
	second := tag()
	second.Lot, second.Code = "240315-A-08", "lastgood:hold:346"
	b, err := drawTags("tags", []Tag{tag(), second}, false)
	if err != nil {
		t.Fatal(err)
	}
	if pages(b) != 2 || !bytes.Contains(b, []byte("/MediaBox [0 0 419.53 595.28]")) {
		t.Errorf("%d pages", pages(b))
	}
	for _, text := range []string{"HOLD", "240315-A-07", "240315-A-08", "DO NOT MOVE", "Deviation 12", "pallet 3", "1250.5 kg · cooler 2",
		"2026-03-04 06:00 +00:00", "QA only", tag().Foot} {
		if !bytes.Contains(b, written(text)) {
			t.Errorf("no tag says %q", text)
		}
	}
	for _, size := range []string{" 124.00 Tf", " 40.00 Tf"} {
		if !bytes.Contains(b, []byte(size)) {
			t.Errorf("nothing is written in%s", size)
		}
	}
}

func TestTagsAreReproducible(t *testing.T) {
	t.Parallel()
	a, err := Tags("tag", []Tag{tag()})
	if err != nil {
		t.Fatal(err)
	}
	if b, _ := Tags("tag", []Tag{tag()}); !bytes.Equal(a, b) {
		t.Error("two drawings of one tag differ")
	}
}

// A lot code as long as any that is taken is all there, on one page.
func TestLongTagsLeaveNothingOut(t *testing.T) {
	t.Parallel()
	l := tag()
	l.Lot = strings.Repeat("0123456789", 10)
	l.Small[3][1] = strings.Repeat("metal found in the sieve and ", 17)
	b, err := drawTags("tag", []Tag{l}, false)
	if err != nil {
		t.Fatal(err)
	}
	s := newSheet("", tagWide, tagHigh, at, false)
	s.AddPage()
	s.SetFont("sans", "B", 20)
	for _, line := range s.lines(l.Lot, tagText) {
		if !bytes.Contains(b, written(line)) {
			t.Errorf("the tag leaves out %q", line)
		}
	}
	if pages(b) != 1 || !bytes.Contains(b, written("QA only")) {
		t.Errorf("%d pages", pages(b))
	}
}
