package print

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
)

func report() Report {
	r := Report{Title: "Deviation 7 of Oxlip Quay Dairy", At: at, Foot: "Oxlip Quay Dairy · deviation 7", Head: [][2]string{{"Instrument", "T-114"}},
		Sections: []ReportSection{{Title: "Readings", Notes: []string{"corrected = recorded − error"}, Columns: []string{"lot", "as recorded"}}, {Title: "Holds", Columns: []string{"lot"}}}}
	for i := range 200 {
		r.Sections[0].Rows = append(r.Sections[0].Rows, []string{fmt.Sprintf("L-%03d.", i), "71.2 °C"})
	}
	wide := ReportSection{Title: "Verdicts"}
	var row []string
	for i := range mostColumns + 1 {
		wide.Columns, row = append(wide.Columns, fmt.Sprint("column ", i)), append(row, fmt.Sprint("value ", i))
	}
	wide.Rows = [][]string{row}
	r.Opening = []ReportSection{wide}
	return r
}

// A report is numbered from its first page to its last, its tables have their
// head on every page, and no row is lost at the end of one.
func TestReportIsWhole(t *testing.T) {
	t.Parallel()
	text := drawn(t, report())
	for _, want := range []string{"Deviation 7 of Oxlip Quay Dairy", "1. Readings", "L-000.", "L-199.", "none", "Verdicts", "value 0", "column 7: value 7"} {
		if !bytes.Contains(text, written(want)) && !bytes.Contains(text, bytes.Trim(written(want), "()")) {
			t.Errorf("it does not say %q", want)
		}
	}
	for i := range 200 {
		if n := bytes.Count(text, written(fmt.Sprintf("L-%03d.", i))); n != 1 {
			t.Errorf("L-%d stands there %d times", i, n)
		}
	}
	if n, heads := pages(text), bytes.Count(text, written("as recorded")); n < 4 || heads != n-1 { // the first has the opening

		t.Errorf("%d pages, %d heads of the table", n, heads)
	}
	again := drawn(t, report())
	if !bytes.Equal(text, again) {
		t.Error("the same report is drawn in two ways")
	}
}

// A cell that is longer than a page goes on on the next.
func TestLongCellIsCutIntoPages(t *testing.T) {
	t.Parallel()
	r := Report{Title: "x", At: at, Sections: []ReportSection{{Title: "y", Columns: []string{"a", "b"}, Rows: [][]string{{"1", strings.Repeat("long words ", 2000) + "end"}}}}}
	if n := pages(drawn(t, r)); n < 2 {
		t.Errorf("%d pages", n)
	}
}
