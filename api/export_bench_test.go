package api

import (
	"context"
	"io"
	"iter"
	"os"
	"strings"
	"testing"
	"time"

	"lastgood/api/sheet"
	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow"
)

// million is a made-up trace of n readings of a logger, one every two seconds,
// of a thousand lots.
func million(n int) iter.Seq2[workflow.ExportReading, error] {
	lots := strings.Fields(strings.Repeat("L-0412-a ", 500) + strings.Repeat("04012345123456/998877 ", 500))
	return func(yield func(workflow.ExportReading, error) bool) {
		at := march(3, 0).UnixMicro()
		for i := range n {
			at += 2_000_000
			value := 70 + float64(i%97)/10
			m := unit.FromFloat(value, unit.Colder)
			r := workflow.ExportReading{Lot: lots[i*len(lots)/n], Limit: "cook-core", Via: "reading", LimitIn: "C",
				BasisReading: workflow.BasisReading{Value: value, Unit: unit.CelsiusScale, Shown: at,
					Path: limit.Path{At: at, Standing: metrology.Known, Error: metrology.Bounds{Lo: -0.2, Found: 1.4, Hi: 1.6},
						Recorded: m, Corrected: m - 1_400_000, Worst: m - 1_600_000, Best: m + 200_000}}}
			if !yield(r, nil) {
				return
			}
		}
	}
}

// BenchmarkExport writes the readings of a trace of a million.
func BenchmarkExport(b *testing.B) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		b.Fatal(err)
	}
	for name, write := range map[string]func(io.Writer, sheet.Table) error{
		"csv": sheet.CSV, "xlsx": func(w io.Writer, t sheet.Table) error { return sheet.XLSX(w, march(4, 6), t) }} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				f, err := os.CreateTemp(b.TempDir(), "")
				if err != nil {
					b.Fatal(err)
				}
				if err := write(f, readingTable(context.Background(), "T-114", zone, million(1_000_000))); err != nil {
					b.Fatal(err)
				}
				size, err := f.Seek(0, io.SeekEnd)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(size)/1e6, "MB")
				f.Close()
			}
		})
	}
}
