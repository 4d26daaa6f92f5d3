package print

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/boombuler/barcode/qr"
)

var at = time.Date(2026, 3, 4, 6, 0, 0, 0, time.UTC)

func label() Label {
	return Label{Number: "T-114", Lines: []string{"checked 2026-03-04, verified by J. Moth", "next check by 2026-03-11", "+0.2 °C at 0 °C", "−0.1 °C at 71.1 °C"},
		Code: "lastgood:instrument:T-114", At: at}
}

func badLabel() Label {
	l := label()
	l.Bad, l.Lines = "failed its check", []string{"checked 2026-03-04, verified by J. Moth", "+3 °C at 0 °C", "+3.4 °C at 71.1 °C"}
	return l
}

func form() Form {
	return Form{Title: "Accuracy check of T-114", At: at, Code: "lastgood:instrument:T-114", Foot: "T-114 · printed 2026-03-04 06:00 +00:00",
		Head:   [][2]string{{"Plant", "Oxlip Quay Dairy"}, {"Largest allowed error", "± 1 °C"}, {"Due", "2026-03-04, 3 days ago"}},
		Orders: []string{"Write down what it shows before anybody adjusts, mends or cleans it. Do not round."},
		Points: []FormPoint{{Title: "1  Melting ice: 0 °C", Notes: []string{"Last good here on 2026-02-25."}, Boxes: []string{"shows, as found (°C)", "shows, as left (°C)"}},
			{Title: "2  Beside a reference, at about 71.11 °C", Boxes: []string{"reference, its number", "reference shows (°C)", "shows, as found (°C)", "shows, as left (°C)"}}},
		Lists: []FormList{{"References that may be used", []string{"R-1: for point 2; certificate C-77, 0 °C to 100 °C, until 2026-09-01"}}},
		Sign:  []string{"Checked by", "Verified by"}}
}

type drawing interface {
	draw(compress bool) ([]byte, error)
}

func drawn(t *testing.T, d drawing) []byte {
	t.Helper()
	b, err := d.draw(false)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// written is how a document that is not compressed holds a line of text.
func written(text string) []byte {
	var b bytes.Buffer
	for _, u := range utf16.Encode([]rune(text)) {
		for _, c := range []byte{byte(u >> 8), byte(u)} {
			if strings.IndexByte(`\()`, c) >= 0 {
				b.WriteByte('\\')
			}
			b.WriteByte(c)
		}
	}
	return b.Bytes()
}

func pages(b []byte) int { return bytes.Count(b, []byte("/Type /Page\n")) }

func TestWhatIsGivenStandsInTheDocument(t *testing.T) {
	t.Parallel()
	l, f := badLabel(), form()
	want := append([]string{l.Number, l.Bad, "DO NOT USE"}, l.Lines...)
	got := drawn(t, l)
	if pages(got) != 1 || !bytes.Contains(got, []byte("/MediaBox [0 0 175.75 82.20]")) { // 62 mm × 29 mm in points
		t.Errorf("%d pages", pages(got))
	}
	for _, text := range want {
		if !bytes.Contains(got, written(text)) {
			t.Errorf("the label does not say %q", text)
		}
	}
	want = []string{f.Title, f.Foot, "Oxlip Quay Dairy", "1. " + f.Orders[0], f.Points[0].Title, f.Points[1].Boxes[1], f.Lists[0].Title, f.Lists[0].Lines[0], f.Sign[1]}
	got = drawn(t, f)
	for _, text := range want {
		if !bytes.Contains(got, written(text)) {
			t.Errorf("the form does not say %q", text)
		}
	}
	if pages(got) != 1 || bytes.Contains(drawn(t, label()), written("DO NOT USE")) {
		t.Errorf("%d pages, or a good label warns", pages(got))
	}
}

// The same text gives the same bytes, whenever it is drawn.
func TestDocumentsAreReproducible(t *testing.T) {
	t.Parallel()
	for range 3 {
		a, err := label().PDF()
		if err != nil {
			t.Fatal(err)
		}
		b, _ := label().PDF()
		f, _ := form().PDF()
		g, _ := form().PDF()
		if !bytes.Equal(a, b) || !bytes.Equal(f, g) {
			t.Fatal("two drawings of one text differ")
		}
	}
	other := label()
	other.Code += "5"
	a, _ := label().PDF()
	if b, _ := other.PDF(); bytes.Equal(a, b) {
		t.Error("another code draws the same label")
	}
}

// The bars of the document, put back on a grid, are the code of the content.
func TestTheCodeIsThatOfTheContent(t *testing.T) {
	t.Parallel()
	l := label()
	want, err := qr.Encode(l.Code, qr.M, qr.Auto)
	if err != nil {
		t.Fatal(err)
	}
	const side, perMM = 26.0, 72 / 25.4
	n := want.Bounds().Dx()
	module := side / float64(n+8) * perMM
	left, top := (62-side-0.5)*perMM, (29-(29-side)/2)*perMM
	got := make([][]bool, n)
	for i := range got {
		got[i] = make([]bool, n)
	}
	for line := range strings.Lines(string(drawn(t, l))) {
		var x, y, w, h float64
		if _, err := fmt.Sscanf(line, "%f %f %f %f re f", &x, &y, &w, &h); err != nil {
			continue
		}
		row, from := int((top-y)/module-4+0.5), int((x-left)/module-4+0.5)
		for i := range int(w/module + 0.5) {
			got[row][from+i] = true
		}
	}
	for y := range n {
		for x := range n {
			if got[y][x] != dark(want.At(x, y)) {
				t.Fatalf("row %d column %d: drawn %v", y, x, got[y][x])
			}
		}
	}
}

// Long names take more lines, a long form more pages; nothing is left out, and
// what no font draws does not end the drawing.
func TestMuchIsStillAllThere(t *testing.T) {
	t.Parallel()
	f := form()
	for i := range 30 {
		f.Points = append(f.Points, FormPoint{Title: fmt.Sprintf("point number %d", i), Boxes: []string{"found"}})
	}
	got := drawn(t, f)
	if pages(got) < 3 || !bytes.Contains(got, written("point number 29")) || !bytes.Contains(got, written(f.Sign[1])) {
		t.Errorf("%d pages", pages(got))
	}
	l := label()
	l.Number = strings.Repeat("0123456789", 10)
	b := drawn(t, l)
	for _, line := range lines(l.Number) {
		if !bytes.Contains(b, written(line)) {
			t.Errorf("the label leaves out %q", line)
		}
	}
	l.Number = "🍖\x00 (a) \\ 茶"
	if _, err := l.PDF(); err != nil {
		t.Error(err)
	}
}

func lines(number string) []string {
	s := newSheet("", 62, 29, at, false)
	s.AddPage()
	s.SetFont("sans", "B", 6)
	return s.lines(number, 62-26-3)
}
