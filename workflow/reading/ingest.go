package reading

import (
	"context"
	"slices"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// MaxChunk is how many readings one chunk may have. A chunk is taken in whole
// or not at all.
const MaxChunk = 50_000

// Chunk is one part of a batch of readings.
type Chunk struct {
	BatchKey string // the sender's own key of the batch
	Number   int    // of the chunk within the batch
	Digest   []byte // of the bytes it came in
	Readings []Reading
}

// Answer says what became of a chunk. Duplicates were recorded before, with the
// same value.
type Answer struct {
	Accepted   int
	Duplicates []int // indexes of rows
	// Quarantined were stored and are not believed.
	Quarantined []Quarantined `json:",omitempty"`
	// Refused is set where a chunk was asked to be taken in without its bad rows.
	Refused []Refused `json:",omitempty"`
	// Touched are the instruments that the new readings are of. A chunk that is
	// answered again touches nothing.
	Touched []Touched `json:"-"`
}

// Refused is a row that was not taken in, and why.
type Refused struct {
	Index  int
	Field  string
	Rule   string
	Detail string
}

// Touched is what the new readings of one instrument speak of.
type Touched struct {
	Instrument  instrument.ID
	First, Last time.Time
	Lots        []lot.ID
	Placed      bool // some name no lot
	ServesMore  bool // some are for a limit that it was not known to serve
}

// row is a reading with numbers for names, as it is stored.
type row struct {
	index      int
	at         int64 // µs
	value      float64
	lot        lot.ID // 0: none
	source     int64
	instrument instrument.ID
	context    int32
	location   int32
}

// Ingest takes a chunk in, sorted by instrument and time, by COPY; where some
// readings are there already, through a stage. It returns fault.Rows, and
// writes nothing, if any row is wrong: an unknown instrument, a reading before
// its instrument was in service, a limit that limits does not have, another value
// for a reading that is recorded. What is not plausible is stored apart. The
// caller holds the shared plant lock.
func Ingest(ctx context.Context, tx *pg.Tx, c Chunk, limits Limits) (Answer, error) {
	if len(c.Readings) > MaxChunk {
		return Answer{}, fault.New(fault.Invalid, "chunk-too-large", "a chunk has at most %d readings", MaxChunk)
	}
	before, err := sentBefore(ctx, tx, c)
	if err != nil {
		return Answer{}, err
	}
	if before {
		return Answer{Duplicates: all(len(c.Readings))}, nil
	}
	rows, why, err := resolve(ctx, tx, c.Readings, limits)
	if err != nil {
		return Answer{}, err
	}
	rows, dups, err := sortAndCompare(rows, c.Readings)
	if err != nil {
		return Answer{}, err
	}
	return store(ctx, tx, c, rows, dups, why)
}

// store writes sorted rows, of which dups were left out: they repeat others.
func store(ctx context.Context, tx *pg.Tx, c Chunk, rows []row, dups []int, why map[int]*Implausible) (a Answer, err error) {
	parts, err := sift(ctx, tx, rows, c.Readings, why)
	if err != nil {
		return a, err
	}
	batch, err := openBatch(ctx, tx, c)
	if err != nil {
		return a, err
	}
	stored, err := write(ctx, tx, batch, parts.good)
	if err != nil {
		return a, err
	}
	if a.Quarantined, err = quarantine(ctx, tx, batch, parts.odd, why); err != nil {
		return a, err
	}
	serves, err := limitsServed(ctx, tx)
	if err != nil {
		return a, err
	}
	a.Accepted = len(parts.good) - len(stored)
	stored = append(stored, parts.dups...)
	a.Touched = touched(rows, stored, c.Readings, serves)
	if err := widenSpans(ctx, tx, rows, c.Readings); err != nil {
		return a, err
	}
	a.Duplicates = append(dups, stored...)
	slices.Sort(a.Duplicates)
	return a, closeBatch(ctx, tx, batch, a.Accepted)
}

// all returns the indexes of n rows.
func all(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// sortAndCompare sorts by the key, drops repeats of the same value and refuses
// the same reading with two values.
func sortAndCompare(rows []row, list []Reading) (kept []row, dups []int, err error) {
	rows = sorted(rows)
	var bad fault.Rows
	kept = rows[:0:len(rows)]
	for _, r := range rows {
		if n := len(kept); n > 0 && kept[n-1].sameKey(r) {
			if !saysTheSame(list[kept[n-1].index], list[r.index]) {
				bad.Add(r.index, conflict(list[r.index].Instrument, kept[n-1].value))
			}
			dups = append(dups, r.index)
			continue
		}
		kept = append(kept, r)
	}
	return kept, dups, bad.Err()
}

// saysTheSame tells a repeat from a conflict: who took it and how many decimals
// it was sent with do not matter.
func saysTheSame(a, b Reading) bool {
	return a.Value == b.Value && a.Unit == b.Unit && a.Lot == b.Lot && a.Limit == b.Limit && a.Location == b.Location
}

func (a row) sameKey(b row) bool {
	return a.instrument == b.instrument && a.at == b.at && a.source == b.source
}

func conflict(instrument string, has float64) *fault.Error {
	return fault.New(fault.Conflict, "conflict", "%s has a reading of this time and source already, of %v: a reading is corrected, never changed",
		instrument, has).In("value")
}
