package exchange

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// benchmarkRows is enough for the readers' buffers not to matter.
const benchmarkRows = 200_000

// BenchmarkReadings reads readings from a file, by form; ns/row is what counts.
func BenchmarkReadings(b *testing.B) {
	for _, name := range []string{"readings.csv", "readings.csv.gz", "readings.csv.zst", "readings.ndjson"} {
		b.Run(name, func(b *testing.B) {
			dir := b.TempDir()
			writeForm(b, dir, name, benchmarkText())
			info, err := os.Stat(filepath.Join(dir, name))
			if err != nil {
				b.Fatal(err)
			}
			f := &Folder{readings: source{dir: dir, name: name, size: info.Size()}}
			b.ReportAllocs()
			for b.Loop() {
				n := 0
				for _, p := range f.Readings() {
					if p != nil {
						b.Fatal(p)
					}
					n++
				}
				if n != benchmarkRows {
					b.Fatalf("%d rows", n)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchmarkRows, "ns/row")
		})
	}
}

func benchmarkText() string {
	var t bytes.Buffer
	t.WriteString("instrument,taken_at,value,unit,lot,limit,location,taken_by,source_id\n")
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.FixedZone("", 3600))
	for i := range benchmarkRows {
		fmt.Fprintf(&t, "T-%d,%s,%.2f,C,L-%04d,cook-core,line-%d,operator %d,H%d\n",
			i%40, at.Add(time.Duration(i)*time.Second).Format(time.RFC3339), 71+float64(i%300)/100, i/400, i%4, i%9, i)
	}
	return t.String()
}
