package exchange

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/workflow/reading"
)

// readingsOf reads only a readings file, given as bytes.
func readingsOf(t *testing.T, name string, b []byte) ([]Row[reading.Reading], []Problem) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
		t.Fatal(err)
	}
	f, _ := Read(dir)
	var list []Row[reading.Reading]
	var bad []Problem
	for row, p := range f.Readings() {
		if p != nil {
			if row.File != p.File || row.Line != p.Line {
				t.Errorf("the row says %s:%d, its problem %s:%d", row.File, row.Line, p.File, p.Line)
			}
			bad = append(bad, *p)
			continue
		}
		list = append(list, row)
	}
	return list, bad
}

// longReadings are n readings whose lines differ enough not to compress to
// nothing.
func longReadings(n int) string {
	var b strings.Builder
	b.WriteString(readingHeader)
	for i := range n {
		fmt.Fprintf(&b, "T-%d,2026-03-01T10:%02d:%02dZ,%d.%d,C,L-%d,s-%x\n", i%7, i/60%60, i%60, 60+i%20, i%10, i/50, i*2654435761)
	}
	return b.String()
}

// TestLateRow: one field too few far down the file is named with its line, and
// the rows after it are read.
func TestLateRow(t *testing.T) {
	t.Parallel()
	const line = 200_000
	rows := strings.SplitAfter(longReadings(line+10), "\n")
	rows[line-1] = "T-1,2026-03-01T10:00:00Z,71.5\n" // the header is line 1
	list, bad := readingsOf(t, "readings.csv.zst", zstded(t, strings.Join(rows, "")))
	if d := cmp.Diff([]string{"readings.csv.zst:200000::wrong-number-of-fields"}, briefs(bad)); d != "" {
		t.Error(d)
	}
	if len(list) != line+9 || list[len(list)-1].Line != line+11 {
		t.Errorf("%d rows, the last on line %d", len(list), list[len(list)-1].Line)
	}
}

// TestTruncated: a compressed file that was cut off is read as far as it goes,
// and no half of a row is taken for a row.
func TestTruncated(t *testing.T) {
	t.Parallel()
	text := longReadings(5000)
	whole, _ := readingsOf(t, "readings.csv", []byte(text))
	for name, b := range map[string][]byte{
		"readings.csv.gz":     gzipped(t, text),
		"readings.csv.zst":    zstded(t, text),
		"readings.ndjson.gz":  gzipped(t, asNDJSON(t, text)),
		"readings.ndjson.zst": zstded(t, asNDJSON(t, text)),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for _, keep := range []int{len(b) / 3, len(b) / 2, len(b) - 1} {
				list, bad := readingsOf(t, name, b[:keep])
				if len(bad) != 1 || bad[0].Rule != "truncated" {
					t.Fatalf("cut to %d of %d bytes: %v", keep, len(b), bad)
				}
				reached := bad[0].Line - 1 // the last whole row
				if n := len(list); n > 0 && list[n-1].Line != reached {
					t.Errorf("cut to %d of %d bytes: %d rows, line reached %d", keep, len(b), n, reached)
				}
				for i, row := range list {
					if d := cmp.Diff(whole[i].Value, row.Value); d != "" {
						t.Fatalf("row %d: %s", i, d)
					}
				}
			}
		})
	}
}

// TestWrongEnding: a file whose ending lies about its form.
func TestWrongEnding(t *testing.T) {
	t.Parallel()
	text := longReadings(3)
	for _, c := range []struct {
		name string
		b    []byte
		want string
	}{
		{"readings.csv.gz", []byte(text), "readings.csv.gz:0::damaged-file"},
		{"readings.csv.zst", []byte(text), "readings.csv.zst:1::damaged-file"},
		{"readings.ndjson.zst", []byte(text), "readings.ndjson.zst:1::damaged-file"},
		{"readings.csv.gz", gzipped(t, ""), "readings.csv.gz:0::empty-file"},
		{"readings.ndjson.zst", zstded(t, ""), "readings.ndjson.zst:0::empty-file"},
		{"readings.csv.gz", append(gzipped(t, text), "more than a header"...), "readings.csv.gz:5::damaged-file"},
	} {
		_, bad := readingsOf(t, c.name, c.b)
		if d := cmp.Diff([]string{c.want}, briefs(bad)); d != "" {
			t.Error(d)
		}
	}
}

// TestTwoMembers: gzip files put one behind the other are one gzip file.
func TestTwoMembers(t *testing.T) {
	t.Parallel()
	text := longReadings(10)
	list, bad := readingsOf(t, "readings.csv.gz", append(gzipped(t, text[:300]), gzipped(t, text[300:])...))
	if len(list) != 10 || len(bad) > 0 {
		t.Errorf("%d rows, %v", len(list), bad)
	}
}

// TestStopEarly: who has seen enough may leave, and may begin again.
func TestStopEarly(t *testing.T) {
	t.Parallel()
	f, _ := Read(writeFolder(t, plant()))
	for range 3 {
		for row, p := range f.Readings() {
			if p != nil || row.Line != 2 {
				t.Fatal(row, p)
			}
			break
		}
	}
}

// TestNamesAreShared: a name that stands in many rows is one string.
func TestNamesAreShared(t *testing.T) {
	t.Parallel()
	names := make([]string, mostKnown+10)
	for i := range names {
		names[i] = fmt.Sprintf("L-%d", i%(mostKnown+5))
	}
	d := newReadingDecoder()
	r := newRecord("readings.csv", readingTable)
	for _, name := range names {
		r.value[r.column("lot")] = name
		if got := d.code(r, "lot"); got != name {
			t.Fatalf("got %s, want %s", got, name)
		}
		if len(d.known) > mostKnown {
			t.Fatalf("%d names are kept", len(d.known))
		}
	}
}
