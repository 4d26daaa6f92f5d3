package reading

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
)

// anyRows draws rows that collide often, of instruments near each other or far
// apart.
func anyRows(t *rapid.T) []row {
	far := rapid.SampledFrom([]instrument.ID{1, 100_000}).Draw(t, "distance")
	n := rapid.IntRange(0, 60).Draw(t, "rows")
	rows := make([]row, n)
	for i := range rows {
		rows[i] = row{index: i, at: rapid.Int64Range(0, 9).Draw(t, "at"), source: rapid.Int64Range(-2, 2).Draw(t, "source"),
			instrument: 7 + far*instrument.ID(rapid.IntRange(0, 5).Draw(t, "instrument"))}
	}
	return rows
}

func TestSortedIsTheOrderOfTheKey(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rows := anyRows(t)
		want := slices.Clone(rows)
		slices.SortFunc(want, byKey)
		if d := cmp.Diff(want, sorted(rows), cmp.AllowUnexported(row{})); d != "" {
			t.Fatalf("-sorted by comparing +sorted by instrument first:\n%s", d)
		}
	})
}

func TestTimesAreWrittenAsTimeFormats(t *testing.T) {
	t.Parallel()
	var d dateText // one for all: the day is remembered
	rapid.Check(t, func(t *rapid.T) {
		at := time.UnixMicro(rapid.Int64Range(-1e14, 4e15).Draw(t, "at")).UTC() // 1966 to 2096
		if rapid.Bool().Draw(t, "whole seconds") {
			at = at.Truncate(time.Second)
		}
		text := string(d.appendTime(nil, at.UnixMicro()))
		got, err := time.Parse("2006-01-02 15:04:05.999999-07", text)
		if err != nil || !got.Equal(at) {
			t.Fatalf("%v is written %s", at, text)
		}
	})
}

func TestMonthsTakeEveryRowOnceInOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rows := make([]row, rapid.IntRange(0, 40).Draw(t, "rows"))
		for i := range rows { // half a day apart at least, over a year end
			at := time.Date(2024, 11, 15, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 200).Draw(t, "half day")) * 12 * time.Hour)
			rows[i] = row{index: i, at: at.UnixMicro()}
		}
		n := 0
		for name, list := range byMonth(slices.Clone(rows)) {
			n += len(list)
			if !slices.IsSortedFunc(list, func(a, b row) int { return a.index - b.index }) {
				t.Fatalf("%s is out of order", name)
			}
			for _, r := range list {
				if own := time.UnixMicro(r.at).UTC().Format("2006-01") + "-01"; own != name || rows[r.index] != r {
					t.Fatalf("a row of %s lies in %s", own, name)
				}
			}
		}
		if n != len(rows) {
			t.Fatalf("%d rows became %d", len(rows), n)
		}
	})
}

func TestSpansAreOneAThing(t *testing.T) {
	t.Parallel()
	var s spans[int64]
	for _, r := range []struct{ lot, at int64 }{{5, 1}, {5, 2}, {4, 3}, {5, 4}} {
		s.add(r.lot, 1, r.at)
	}
	s.add(5, 2, 0)
	want := spans[int64]{{4, 1, 3, 3}, {5, 1, 1, 4}, {5, 2, 0, 0}}
	if d := cmp.Diff(want, s.merged(), cmp.AllowUnexported(span[int64]{})); d != "" {
		t.Errorf("-want +got:\n%s", d)
	}
}

// chunkRows is a chunk of 2000 instruments as it arrives, minute by minute.
func chunkRows() []row {
	rows := make([]row, MaxChunk)
	for i := range rows {
		minute, in := i/2000, i%2000
		rows[i] = row{index: i, at: 1_751_000_000_000_000 + int64(minute)*60_000_000, value: 72.4, lot: lot.ID(in / 100),
			source: int64(i) * 7_919_000_000_003, instrument: instrument.ID(in + 1), context: 1}
	}
	return rows
}

// perRow reports what a row costs, as performance is compared here.
func perRow(b *testing.B, rows int) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(rows), "ns/row")
}

func BenchmarkSorted(b *testing.B) {
	fresh, rows := chunkRows(), make([]row, MaxChunk)
	for b.Loop() {
		copy(rows, fresh)
		sorted(rows)
	}
	perRow(b, MaxChunk)
}

func BenchmarkAppendRow(b *testing.B) {
	rows := sorted(chunkRows())
	buf := make([]byte, 0, 8<<20)
	for b.Loop() {
		e := encoder{plant: 1, batch: 1}
		buf = buf[:0]
		for i := range rows {
			buf = e.appendRow(buf, &rows[i])
		}
	}
	perRow(b, MaxChunk)
}

func BenchmarkIdentify(b *testing.B) {
	list := make([]Reading, MaxChunk)
	known := map[string]instrument.Stored{}
	low, high := -40*unit.Micro(unit.PerDegree), 200*unit.Micro(unit.PerDegree)
	for i := range list {
		code := "T-" + string(rune('A'+i%26)) + string(rune('A'+i/26%26))
		known[code] = instrument.Stored{ID: instrument.ID(i%676 + 1), Unit: "C", RangeLow: &low, RangeHigh: &high}
		list[i] = Reading{Instrument: code, TakenAt: time.UnixMicro(int64(i)), Value: 72.5, Decimals: 1, Unit: unit.CelsiusScale,
			Lot: code, Limit: "cook", SourceID: code}
	}
	rows := make([]row, MaxChunk)
	for b.Loop() {
		if _, err := identify(rows, list, known, Limits{"cook": {71}}, newNames(), newNames()); err != nil {
			b.Fatal(err)
		}
	}
	perRow(b, MaxChunk)
}

func BenchmarkSpans(b *testing.B) {
	rows := sorted(chunkRows())
	for b.Loop() {
		var s spans[int64]
		for i := range rows {
			s.add(int64(rows[i].lot), rows[i].instrument, rows[i].at)
		}
		s.merged()
	}
	perRow(b, MaxChunk)
}
