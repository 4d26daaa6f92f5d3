package exchange

import (
	"encoding/csv"
	"math"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/unit"
	"lastgood/workflow/reading"
)

// recordsIn returns the rows of text that stands in a file called name.
func recordsIn(t *testing.T, name, text string, of table) func(func(*record) bool) {
	t.Helper()
	in, f := newText(name, strings.NewReader(text))
	if f != nil {
		t.Fatal(f)
	}
	return in.records(newRecord(name, of))
}

func readingsIn(t *testing.T, name, text string) (list []reading.Reading, bad []Problem) {
	t.Helper()
	for row, p := range readings(recordsIn(t, name, text, readingTable)) {
		if p != nil {
			bad = append(bad, *p)
			continue
		}
		list = append(list, row.Value)
	}
	return list, bad
}

const allReadingColumns = "instrument,taken_at,value,unit,lot,limit,location,taken_by,source_id\n"

// FuzzReadingCSV: whatever stands on a line, what comes out is a reading that
// the engine can use or a problem that a person can use; and the same values
// mean the same as NDJSON.
func FuzzReadingCSV(f *testing.F) {
	f.Add("T-114,2026-03-01T10:00:00+01:00,165.50,F,L-0412,cook-core,line 2,A. Sample,h-1")
	f.Add("T-114,2016-12-31T23:59:60Z,-0.0,KEL,,,,,")
	f.Add("\"T\"\"1\",2026-03-01 10:00:00z,.5,C,\"a,b\",,,,\"x\ny\"")
	f.Add("\xef\xbb\xbf,,,,,,,,\r\n\x00")
	f.Fuzz(func(t *testing.T, line string) {
		list, bad := readingsIn(t, "readings.csv", allReadingColumns+line)
		for _, p := range bad {
			usableProblem(t, p)
		}
		for _, r := range list {
			usableReading(t, r)
		}
		rows, err := csv.NewReader(strings.NewReader(allReadingColumns + line)).ReadAll()
		if err != nil || len(bad) > 0 || len(rows) < 2 { // NDJSON of no rows is an empty file
			return
		}
		again, worse := readingsIn(t, "readings.ndjson", asNDJSON(t, allReadingColumns+line))
		if d := cmp.Diff(list, again); d != "" || len(worse) > 0 || len(list) != len(rows)-1 {
			t.Errorf("CSV and NDJSON of %q differ: %s %v", line, d, worse)
		}
	})
}

// FuzzReadingNDJSON is FuzzReadingCSV for a line of JSON.
func FuzzReadingNDJSON(f *testing.F) {
	f.Add(good)
	f.Add(`{"instrument":"T","taken_at":"2026-03-01T10:00:00Z","value":"-40","unit":"F","lot":null,"source_id":7}`)
	f.Add(`{"value":1e5,"value":[{}],"\u0000":"\ud83d\ude00"} {`)
	f.Fuzz(func(t *testing.T, line string) {
		list, bad := readingsIn(t, "readings.ndjson", line+"\n")
		for _, p := range bad {
			usableProblem(t, p)
		}
		for _, r := range list {
			usableReading(t, r)
		}
	})
}

// FuzzCertificates: whatever the rows, the certificates that come out have
// points in ascending order, and no row is lost without a problem.
func FuzzCertificates(f *testing.F) {
	f.Add("R,K,2025-06-01T00:00:00Z,2026-06-01T00:00:00Z,100,0,0.1,C\nR,K,2025-06-01T00:00:00Z,2026-06-01T00:00:00Z,0,0,0.1,C\n")
	f.Add("R,K,2025-06-01T00:00:00Z,2026-06-01T00:00:00Z,0,0,0.1,C\nR,K,2025-06-01T00:00:00Z,2026-06-02T00:00:00Z,0,0,0.1,F\n")
	f.Add("R,K,,\n\"")
	f.Fuzz(func(t *testing.T, rows string) {
		points, bad := collect(recordsIn(t, "certificates.csv", certHeader+rows, certificateTable), decodeCertificate)
		read := len(points)
		list, differ := joinCertificates(points)
		for _, p := range append(bad, differ...) {
			usableProblem(t, p)
		}
		n := 0
		for _, c := range list {
			n += len(c.Value.Points)
			for i, p := range c.Value.Points {
				if i > 0 && p.At <= c.Value.Points[i-1].At {
					t.Errorf("points %v", c.Value.Points)
				}
			}
		}
		if n+len(differ) != read {
			t.Errorf("%d rows became %d points and %d problems", read, n, len(differ))
		}
	})
}

func usableProblem(t *testing.T, p Problem) {
	t.Helper()
	if p.Rule == "" || p.Detail == "" || p.Line < 0 || !utf8.ValidString(p.Detail) {
		t.Errorf("problem %#v", p)
	}
}

func usableReading(t *testing.T, r reading.Reading) {
	t.Helper()
	zero := map[unit.Scale]float64{'C': -273.15, 'F': -459.67, 'K': 0} // absolute zero, by definition of the scales
	low, known := zero[r.Unit]
	switch {
	case r.Instrument == "" || !known:
		t.Errorf("no instrument or no unit: %#v", r)
	case math.Signbit(r.Value) && r.Value == 0, !(r.Value >= low && r.Value <= unit.MaxDegrees), r.Decimals < 0:
		t.Errorf("value %v with %d decimals", r.Value, r.Decimals)
	case r.TakenAt.Location() != time.UTC, r.TakenAt.Nanosecond()%1000 != 0, r.TakenAt.Year() < 1990, r.TakenAt.Year() > 2100:
		t.Errorf("taken at %v", r.TakenAt)
	}
	for _, s := range []string{r.Instrument, r.Lot, r.Limit, r.Location, r.TakenBy, r.SourceID} {
		if !utf8.ValidString(s) || strings.TrimSpace(s) != s || strings.ContainsFunc(s, unicode.IsControl) || utf8.RuneCountInString(s) > 100 {
			t.Errorf("name %q", s)
		}
	}
}
