package workflow

import (
	"fmt"
	"testing"

	"lastgood/policy/document"
	"lastgood/policy/metrology"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

// benchReadings is half a year of one instrument, once a minute, a lot every
// four hours.
const (
	benchReadings = 180 * 24 * 60
	benchLot      = 4 * 60
	benchMinute   = 60_000_000 // µs
)

func benchTaken() []reading.Taken {
	list := make([]reading.Taken, benchReadings)
	for i := range list {
		list[i] = reading.Taken{At: march(1, 0, 0).UnixMicro() + int64(i)*benchMinute, Value: 72 + float64(i%20)/10,
			Lot: lot.ID(1 + i/benchLot), Context: 1}
	}
	return list
}

// benchEvidence is evidence that has no reading yet, with an error between −0.4
// and 1.4 °C.
func benchEvidence(b *testing.B, limitText string) *evidence {
	b.Helper()
	p, problems := document.Parse([]byte("limits: [" + limitText + "]\nseverities: {salmonella: serious}\n"))
	if len(problems) > 0 {
		b.Fatal(problems)
	}
	from := march(1, 0, 0).UnixMicro()
	until := from + benchReadings*benchMinute
	e := &evidence{policy: sitePolicy{Policy: p}, record: map[group]*stretch{}, seen: map[int32]bool{}, digest: newDigester(), after: from - 1, until: until,
		doubt:    metrology.Constant(-0.4, 1.4, 0, 1, 0.2, from-1, until, until),
		contexts: map[int32]reading.Context{1: {ID: 1, LimitName: "cook", Unit: "C"}}, lots: map[lot.ID]lot.Stored{}}
	for id := lot.ID(1); id <= benchReadings/benchLot; id++ {
		e.lots[id] = lot.Stored{ID: id, Code: fmt.Sprint("L-", id)}
	}
	return e
}

func perTaken(b *testing.B) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchReadings, "ns/reading")
}

// BenchmarkFile is what a trace does with each reading as it comes: hash it and
// put it where it belongs.
func BenchmarkFile(b *testing.B) {
	list := benchTaken()
	for b.Loop() {
		e := benchEvidence(b, "{limit: cook, kind: at_least, temperature: 71 C, hazard: salmonella}")
		for _, r := range list {
			e.file(r)
		}
	}
	perTaken(b)
}

func BenchmarkJudgeAll(b *testing.B) {
	for name, text := range map[string]string{
		"at_least":  "{limit: cook, kind: at_least, temperature: 71 C, hazard: salmonella}",
		"lethality": "{limit: cook, kind: lethality, reference: 70 C, z: 7.5 K, minutes: 2.0, max_gap: 5m, hazard: salmonella}",
	} {
		b.Run(name, func(b *testing.B) {
			e := benchEvidence(b, text)
			for _, r := range benchTaken() {
				e.file(r)
			}
			for b.Loop() {
				if list, err := e.judgeAll(); err != nil || len(list) != benchReadings/benchLot {
					b.Fatal(len(list), err)
				}
			}
			perTaken(b)
		})
	}
}
